"""An ending recorded by mistake is taken back: by the link within minutes, by staff until the next day is over."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from taping.models import Application
from taping.services.applications import application_end
from taping.services.refusals import TapingRefused
from taping.services.reopening import (
    application_reopen,
    application_reopen_by_staff,
    may_reopen,
    staff_may_reopen,
)
from tests.factories import ApplicationFactory, ScreenFactory, StripPlanFactory, UserFactory

pytestmark = pytest.mark.django_db

LINK = Actor(word="patient link")
LAST_MOMENT = datetime(2027, 3, 12, 4, 59, 59, tzinfo=UTC)
"""One second before the 12th begins in New York; the tests' moment is the 10th."""


@pytest.fixture
def tape(clinic: Clinic, now: datetime) -> Application:
    made: Application = ApplicationFactory(applied_at=now - timedelta(days=2))
    return made


@pytest.fixture
def staff(tape: Application) -> Actor:
    return Actor(user=UserFactory())


def end(tape: Application, actor: Actor, now: datetime, **given: Any) -> Application:
    values = {"how": "off", "ended_at": now, "by": "patient", "note": "no residue", **given}
    return application_end(actor=actor, now=now, application=tape, **values)


def refusal(tape: Application, actor: Actor, now: datetime, why: str = "wrong patient") -> tuple[str, str]:
    with pytest.raises(TapingRefused) as refused:
        application_reopen_by_staff(actor=actor, now=now, application=tape, why=why)
    tape.refresh_from_db()
    assert tape.ended_at is not None
    return refused.value.message, refused.value.field


def new_tape(tape: Application, now: datetime) -> None:
    screen = ScreenFactory(patient=tape.patient, made_at=now)
    ApplicationFactory(patient=tape.patient, applied_at=now, plan=StripPlanFactory(screen=screen))


def test_an_ending_says_who_put_it_on_record_and_when(tape: Application, staff: Actor, now: datetime) -> None:
    ended = end(tape, staff, now, ended_at=now - timedelta(days=1))
    assert (ended.ended_by, ended.ending_saved_at, ended.ending_saved_by) == ("patient", now, staff.user)


def test_an_ending_by_the_link_was_saved_by_nobody_here(tape: Application, now: datetime) -> None:
    ended = end(tape, LINK, now)
    assert (ended.ending_saved_at, ended.ending_saved_by) == (now, None)


def test_the_first_ending_keeps_who_saved_it(tape: Application, staff: Actor, now: datetime) -> None:
    end(tape, staff, now)
    again = end(tape, LINK, now + timedelta(minutes=1))
    assert (again.ending_saved_at, again.ending_saved_by) == (now, staff.user)


@pytest.mark.parametrize("by", ["patient", "helper"])
def test_the_link_cannot_undo_what_staff_recorded_of_the_patient(
    tape: Application, staff: Actor, now: datetime, by: str
) -> None:
    ended = end(tape, staff, now, by=by)
    assert not may_reopen(ended, now)
    with pytest.raises(TapingRefused, match="Please call us"):
        application_reopen(actor=LINK, now=now, application=tape)


@pytest.mark.parametrize(("after", "may"), [(timedelta(minutes=10), True), (timedelta(minutes=10, seconds=1), False)])
def test_the_link_undoes_its_own_ending_for_ten_minutes(
    tape: Application, now: datetime, after: timedelta, may: bool
) -> None:
    assert may_reopen(end(tape, LINK, now), now + after) is may


@pytest.mark.parametrize("by_link", [True, False])
def test_staff_take_back_any_ending_with_a_reason(
    tape: Application, staff: Actor, now: datetime, by_link: bool
) -> None:
    end(tape, LINK if by_link else staff, now)
    later = now + timedelta(hours=1)
    on = application_reopen_by_staff(actor=staff, now=later, application=tape, why=" wrong patient ")
    assert (on.ended_at, on.ended_how, on.ended_by, on.ending_note) == (None, "", "", "")
    assert (on.ending_saved_at, on.ending_saved_by, on.reopened_why) == (None, None, "wrong patient")


def test_who_took_it_back_is_an_event_and_messages_are_planned_anew(
    tape: Application, staff: Actor, now: datetime
) -> None:
    before = end(tape, staff, now)
    before.refresh_from_db()
    application_reopen_by_staff(actor=staff, now=now, application=tape, why="wrong patient")
    tape.refresh_from_db()
    event = Event.objects.get(verb="application.reopened")
    assert (event.actor, event.at, event.patient) == (staff.user, now, tape.patient)
    assert tape.plan_version == before.plan_version + 1


def test_every_reason_is_kept(tape: Application, staff: Actor, now: datetime) -> None:
    for why in ("wrong patient", "wrong knee"):
        end(tape, staff, now)
        application_reopen_by_staff(actor=staff, now=now, application=tape, why=why)
    tape.refresh_from_db()
    assert tape.reopened_why == "wrong patient\nwrong knee"


@pytest.mark.parametrize(
    ("why", "words"),
    [
        ("", "Say why the ending is taken back."),
        (" \n", "Say why the ending is taken back."),
        ("x" * 301, "Shorten it."),
    ],
)
def test_a_reason_is_needed(tape: Application, staff: Actor, now: datetime, why: str, words: str) -> None:
    end(tape, staff, now)
    message, field = refusal(tape, staff, now, why)
    assert message.endswith(words)
    assert field == "why"


def test_staff_may_until_the_clinics_next_day_is_over(
    tape: Application, staff: Actor, clinic: Clinic, now: datetime
) -> None:
    """Counted from when it was saved: the tape itself came off two days before."""
    ended = end(tape, staff, now, ended_at=now - timedelta(days=2))
    assert staff_may_reopen(ended, LAST_MOMENT, clinic.zone)
    too_late = LAST_MOMENT + timedelta(seconds=1)
    assert not staff_may_reopen(ended, too_late, clinic.zone)
    assert refusal(tape, staff, too_late)[0].startswith("An ending can be taken back until the end of the day after")
    assert application_reopen_by_staff(actor=staff, now=LAST_MOMENT, application=tape, why="x").ended_at is None


def test_new_tape_on_the_place_makes_the_ending_stand(
    tape: Application, staff: Actor, clinic: Clinic, now: datetime
) -> None:
    ended = end(tape, staff, now)
    new_tape(tape, now)
    assert not staff_may_reopen(ended, now, clinic.zone)
    assert refusal(tape, staff, now) == ("There is new tape on this place, so the end of this one stands.", "")


def test_tape_that_is_on_stays_as_it_is(tape: Application, staff: Actor, clinic: Clinic, now: datetime) -> None:
    assert not staff_may_reopen(tape, now, clinic.zone)
    application_reopen_by_staff(actor=staff, now=now, application=tape, why="twice")
    tape.refresh_from_db()
    assert tape.reopened_why == ""
    assert Event.objects.filter(verb="application.reopened").count() == 0
