"""How a tape came off, and the look at the skin half an hour later."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from taping.models import Application
from taping.services.applications import application_end
from taping.services.endings import EndingDetails, ending_describe, look_at, skin_look
from taping.services.refusals import TapingRefused
from taping.services.reopening import application_reopen_by_staff
from tests.factories import ApplicationFactory

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


def off(tape: Application, at: datetime, how: str = "off") -> Application:
    return application_end(
        actor=Actor(user=tape.therapist), now=at, application=tape, how=how, ended_at=at, by="therapist"
    )


def look(tape: Application, at: datetime, seen: str) -> Application:
    return skin_look(actor=Actor(user=tape.therapist), now=at, application=tape, seen=seen)


def describe(tape: Application, at: datetime, **details: Any) -> Application:
    return ending_describe(actor=Actor(user=tape.therapist), now=at, application=tape, details=EndingDetails(**details))


def test_how_it_went_is_kept(tape: Application, now: datetime) -> None:
    off(tape, now + DAY)
    told = describe(tape, now + DAY, roughly=True, went="hurt", hair="some", residue="none")
    assert (told.ended_roughly, told.ending_went, told.ending_hair, told.ending_residue, told.skin_after) == (
        True,
        "hurt",
        "some",
        "none",
        "",
    )
    event = Event.objects.get(verb="application.described")
    assert event.fields == ["ending_hair", "ending_residue", "ending_went"]


def test_tape_that_came_off_by_itself_was_pulled_by_nobody(tape: Application, now: datetime) -> None:
    off(tape, now + DAY, "came_off")
    assert describe(tape, now + DAY, went="hurt").ending_went == ""


def test_an_ending_is_described_only_once_there_is_one(tape: Application, now: datetime) -> None:
    with pytest.raises(TapingRefused, match="still on"):
        describe(tape, now, went="easily")
    with pytest.raises(TapingRefused, match="still on"):
        look(tape, now, "no_change")


def test_exactly_thirty_minutes_count_against_the_definition_of_the_injury(tape: Application, now: datetime) -> None:
    """A change "30 minutes or more" after removal (McNichol and others 2013, J WOCN 40(4)): 30:00 counts, 29:59 not."""
    off(tape, now)
    assert look_at(off(tape, now)) == now + 30 * MINUTE
    with pytest.raises(TapingRefused, match=r"Less than 30 minutes have passed\. Look again at 10:30") as refused:
        look(tape, now + 30 * MINUTE - timedelta(seconds=1), "no_change")
    assert refused.value.field == "skin_after"
    seen = look(tape, now + 30 * MINUTE, "no_change")
    assert (seen.skin_after, seen.skin_after_at, seen.skin_after_by) == (
        "no_change",
        now + 30 * MINUTE,
        tape.therapist,
    )
    assert look_at(seen) is None


def test_not_looked_at_is_an_answer_at_any_time_and_gives_way_to_a_look(tape: Application, now: datetime) -> None:
    off(tape, now)
    assert look(tape, now, "not_looked").skin_after == "not_looked"
    assert look(tape, now + DAY, "changed").skin_after == "changed"


def test_what_somebody_saw_stands(tape: Application, now: datetime) -> None:
    off(tape, now)
    look(tape, now + DAY, "no_change")
    again = look(tape, now + 2 * DAY, "no_change")
    assert again.skin_after_at == now + DAY
    with pytest.raises(TapingRefused, match=r"on record already: no change seen\. Write a skin report"):
        look(tape, now + 2 * DAY, "changed")


def test_an_unknown_answer_is_refused(tape: Application, now: datetime) -> None:
    off(tape, now)
    with pytest.raises(TapingRefused, match="Choose what was seen"):
        look(tape, now + DAY, "fine")


def test_a_look_plans_no_message(tape: Application, now: datetime) -> None:
    off(tape, now)
    tape.refresh_from_db()
    version = tape.plan_version
    look(tape, now + DAY, "changed")
    tape.refresh_from_db()
    assert tape.plan_version == version


def test_an_ending_taken_back_takes_its_description_along(tape: Application, now: datetime) -> None:
    off(tape, now)
    describe(tape, now + DAY, roughly=True, went="easily", hair="some", residue="much", skin_after="no_change")
    back = application_reopen_by_staff(
        actor=Actor(user=tape.therapist), now=now + DAY, application=tape, why="wrong patient"
    )
    back.refresh_from_db()
    assert (back.ended_roughly, back.ending_went, back.ending_hair, back.ending_residue) == (False, "", "", "")
    assert (back.skin_after, back.skin_after_at, back.skin_after_by) == ("", None, None)
