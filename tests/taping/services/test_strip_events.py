"""What happens to single strips never moves the tape's days, and the last one asks before the tape ends."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from taping.models import Application, SkinReport, StripEvent
from taping.services.applications import application_end
from taping.services.refusals import TapingRefused
from taping.services.strip_events import (
    LastStrip,
    StripHappening,
    positions_worn,
    strip_event_record,
    strip_event_take_back,
)
from tests.factories import ApplicationFactory, StripFactory

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    """Tape of two strips."""
    made: Application = ApplicationFactory()
    for position in (1, 2):
        StripFactory(plan=made.plan, position=position)
    return made


@pytest.fixture
def actor(tape: Application) -> Actor:
    return Actor(user=tape.therapist)


def happen(tape: Application, at: datetime, what: str, position: int | None = None, **more: Any) -> StripEvent:
    return strip_event_record(
        actor=Actor(user=tape.therapist),
        now=more.pop("now", at),
        application=tape,
        happening=StripHappening(what, at, position, **more),
    )


def test_a_trimmed_edge_is_kept_with_who_and_when(tape: Application, now: datetime) -> None:
    row = happen(tape, now + DAY, "edge_trimmed", by="patient", note=" lower end ", now=now + 2 * DAY)
    assert (row.application, row.what, row.at, row.by, row.note, row.saved_at, row.saved_by, row.strip) == (
        tape,
        "edge_trimmed",
        now + DAY,
        "patient",
        "lower end",
        now + 2 * DAY,
        tape.therapist,
        None,
    )
    event = Event.objects.get(verb="strip.edge_trimmed")
    assert (event.patient, event.fields) == (tape.patient, [])


@pytest.mark.parametrize(
    ("what", "position", "worn"),
    [("edge_trimmed", 1, (1, 2)), ("strip_off", 1, (2,)), ("strip_replaced", 1, (1, 2))],
)
def test_no_happening_moves_a_day_a_wait_or_a_message(
    tape: Application, now: datetime, what: str, position: int, worn: tuple[int, ...]
) -> None:
    names = ("applied_at", "opens_on", "closes_on", "removal_day", "adhesion_minutes", "plan_version", "ended_at")
    before = [getattr(tape, name) for name in names]
    happen(tape, now + 3 * DAY, what, position)
    tape.refresh_from_db()
    assert [getattr(tape, name) for name in names] == before
    assert positions_worn(tape) == worn


def test_the_last_strip_off_asks_and_saves_nothing(tape: Application, now: datetime) -> None:
    happen(tape, now + DAY, "strip_off", 2)
    with pytest.raises(LastStrip, match="the tape ends with it"):
        happen(tape, now + 2 * DAY, "strip_off", 1)
    tape.refresh_from_db()
    assert tape.ended_at is None
    assert StripEvent.objects.count() == 1


def test_a_replaced_strip_can_come_off_again(tape: Application, now: datetime) -> None:
    happen(tape, now + DAY, "strip_off", 2)
    with pytest.raises(TapingRefused, match="off already") as refused:
        happen(tape, now + DAY, "strip_off", 2)
    assert refused.value.field == "strip"
    happen(tape, now + 2 * DAY, "strip_replaced", 2)
    happen(tape, now + 3 * DAY, "strip_off", 2)
    assert positions_worn(tape) == (1,)


def test_a_strip_does_not_come_off_before_it_was_replaced(tape: Application, now: datetime) -> None:
    happen(tape, now + 2 * DAY, "strip_replaced", 2)
    with pytest.raises(TapingRefused, match="Something later is on record") as refused:
        happen(tape, now + DAY, "strip_off", 2, now=now + 3 * DAY)
    assert refused.value.field == "at"


def test_no_new_strip_goes_onto_skin_with_an_open_report(tape: Application, now: datetime) -> None:
    SkinReport.objects.create(patient=tape.patient, application=tape, reported_at=now, reported_by="patient")
    with pytest.raises(TapingRefused, match="still open, so no new strip goes on"):
        happen(tape, now + DAY, "strip_replaced", 1)
    happen(tape, now + DAY, "strip_off", 1)  # off is always allowed


def test_no_new_strip_goes_on_after_the_last_day(tape: Application, now: datetime) -> None:
    """The window closes on Monday 15 March, five days after Wednesday 10 March 2027."""
    happen(tape, now + 5 * DAY, "strip_replaced", 1)
    with pytest.raises(TapingRefused, match="The last day was Mon 15 Mar 2027: the tape comes off"):
        happen(tape, now + 6 * DAY, "strip_replaced", 1)


@pytest.mark.parametrize(
    ("what", "position", "shift", "field", "words"),
    [
        ("painted", 1, DAY, "what", "Choose what happened"),
        ("strip_off", None, DAY, "strip", "Choose which strip"),
        ("strip_off", 7, DAY, "strip", "no such strip"),
        ("strip_off", 1, -DAY, "at", "before the tape went on"),
        ("strip_off", 1, 2 * DAY, "at", "still to come"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    tape: Application, now: datetime, what: str, position: int | None, shift: timedelta, field: str, words: str
) -> None:
    with pytest.raises(TapingRefused, match=words) as refused:
        happen(tape, now + shift, what, position, now=now + DAY)
    assert refused.value.field == field
    assert StripEvent.objects.count() == 0


def test_nothing_happens_to_tape_that_is_off(tape: Application, actor: Actor, now: datetime) -> None:
    application_end(actor=actor, now=now + DAY, application=tape, how="off", ended_at=now + DAY, by="patient")
    with pytest.raises(TapingRefused, match="off already"):
        happen(tape, now + DAY, "strip_off", 1)


def test_a_long_note_is_refused(tape: Application, now: datetime) -> None:
    with pytest.raises(TapingRefused, match="longer than 300 letters"):
        happen(tape, now, "edge_trimmed", note="x" * 301)


def test_what_was_recorded_by_mistake_is_taken_back_with_a_reason(
    tape: Application, actor: Actor, now: datetime
) -> None:
    row = happen(tape, now + DAY, "strip_off", 1)
    with pytest.raises(TapingRefused, match="Say why"):
        strip_event_take_back(actor=actor, now=now + DAY, happened=row, why=" ")
    back = strip_event_take_back(actor=actor, now=now + DAY, happened=row, why="other patient")
    assert (back.taken_back_at, back.taken_back_by, back.taken_back_why) == (
        now + DAY,
        tape.therapist,
        "other patient",
    )
    assert positions_worn(tape) == (1, 2)
    again = strip_event_take_back(actor=actor, now=now + 2 * DAY, happened=row, why="twice")
    assert again.taken_back_why == "other patient"


def test_taking_back_never_leaves_a_tape_without_strips(tape: Application, actor: Actor, now: datetime) -> None:
    happen(tape, now + DAY, "strip_off", 1)
    replaced = happen(tape, now + 2 * DAY, "strip_replaced", 1)
    happen(tape, now + 3 * DAY, "strip_off", 2)
    with pytest.raises(TapingRefused, match="Then no strip would be on"):
        strip_event_take_back(actor=actor, now=now + 3 * DAY, happened=replaced, why="wrong")


def test_the_record_of_tape_that_is_off_stands(tape: Application, actor: Actor, now: datetime) -> None:
    row = happen(tape, now + DAY, "strip_off", 1)
    application_end(actor=actor, now=now + DAY, application=tape, how="off", ended_at=now + DAY, by="patient")
    with pytest.raises(TapingRefused, match="its record stands"):
        strip_event_take_back(actor=actor, now=now + DAY, happened=row, why="wrong")
