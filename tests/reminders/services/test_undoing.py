"""Taking back what was pressed by mistake, below the pages."""

from datetime import timedelta

import pytest

from clinic.models import Event
from clinic.services.events import Actor
from reminders.models import CallItem
from reminders.services.answers import answer_call_back, answer_off
from reminders.services.undoing import answer_undo, undoable
from taping.models import Application
from taping.services.refusals import TapingRefused
from tests.factories import ApplicationFactory
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db

LINK = Actor(word="patient link")
IN_TIME = NOW + timedelta(minutes=10)
TOO_LATE = NOW + timedelta(minutes=10, seconds=1)


@pytest.fixture
def tape() -> Application:
    made: Application = ApplicationFactory()
    return made


def test_nothing_was_answered_so_nothing_can_be_undone(tape: Application) -> None:
    assert undoable(application=tape, now=NOW) == ()


def test_both_answers_can_be_taken_back_until_ten_minutes_have_passed(tape: Application) -> None:
    answer_call_back(now=NOW, application=tape)
    ended = answer_off(now=NOW, application=tape)
    assert undoable(application=ended, now=IN_TIME) == ("off", "call")
    assert undoable(application=ended, now=TOO_LATE) == ()


def test_a_reopened_tape_is_planned_for_again(tape: Application) -> None:
    ended = answer_off(now=NOW, application=tape)
    answer_undo(actor=LINK, now=IN_TIME, application=ended, what="off")
    version = tape.plan_version
    tape.refresh_from_db()
    assert tape.ended_at is None
    assert tape.plan_version == version + 2
    assert Event.objects.filter(verb="application.reopened", patient=tape.patient).count() == 1


def test_new_tape_on_the_same_place_stands(tape: Application) -> None:
    ended = answer_off(now=NOW, application=tape)
    ApplicationFactory(patient=tape.patient)
    with pytest.raises(TapingRefused, match="new tape on this place"):
        answer_undo(actor=LINK, now=IN_TIME, application=ended, what="off")
    tape.refresh_from_db()
    assert tape.ended_at == NOW


def test_a_call_that_the_desk_has_tried_is_not_taken_back(tape: Application) -> None:
    answer_call_back(now=NOW, application=tape)
    CallItem.objects.update(tries=1)
    answer_undo(actor=LINK, now=IN_TIME, application=tape, what="call")
    assert CallItem.objects.get().closed_at is None


def test_an_old_wish_to_be_called_stays(tape: Application) -> None:
    answer_call_back(now=NOW, application=tape)
    answer_undo(actor=LINK, now=TOO_LATE, application=tape, what="call")
    assert CallItem.objects.get().closed_at is None


def test_one_tapes_undo_leaves_another_tapes_call(tape: Application) -> None:
    answer_call_back(now=NOW, application=ApplicationFactory())
    answer_undo(actor=LINK, now=IN_TIME, application=tape, what="call")
    assert CallItem.objects.get().closed_at is None
