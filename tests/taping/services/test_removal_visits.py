"""A visit to take tape off moves the removal day with it, and cannot be booked too late."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Visit
from clinic.services.events import Actor
from clinic.services.visits import VisitRefused, visit_book, visit_move, visit_set_state
from taping.models import Application
from taping.services.applications import TapingRefused, application_end
from taping.services.removal_visits import removal_visit_book, removal_visit_set
from tests.factories import ApplicationFactory, ScreenFactory, StripPlanFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


def other_knee(tape: Application, **fields: Any) -> Application:
    screen = ScreenFactory(patient=tape.patient, side="right")
    made: Application = ApplicationFactory(patient=tape.patient, plan=StripPlanFactory(screen=screen), **fields)
    return made


def book(tape: Application, now: datetime, days: int, purpose: str = "removal") -> Visit:
    starts_at = now + days * DAY
    return visit_book(
        actor=Actor(user=tape.therapist),
        now=now,
        patient=tape.patient,
        therapist=tape.therapist,
        starts_at=starts_at,
        visit=Visit(purpose=purpose, ends_at=starts_at + timedelta(minutes=15)),
    )


def day_of(tape: Application) -> tuple[int | None, date]:
    tape.refresh_from_db()
    return tape.removal_visit_id, tape.removal_day


def test_booked_visit_sets_the_day(tape: Application, now: datetime) -> None:
    visit = book(tape, now, 4)
    assert day_of(tape) == (visit.pk, date(2027, 3, 14))
    assert tape.plan_version == 2


def test_visit_for_something_else_changes_nothing(tape: Application, now: datetime) -> None:
    book(tape, now, 4, "follow_up")
    assert day_of(tape) == (None, date(2027, 3, 15))


def test_visit_after_the_window_is_refused_and_not_booked(tape: Application, now: datetime) -> None:
    with pytest.raises(VisitRefused, match="The last day of the wear window is Mon 15 Mar 2027"):
        book(tape, now, 6)
    assert Visit.objects.count() == 0
    assert day_of(tape) == (None, date(2027, 3, 15))


def test_moved_visit_moves_the_day(tape: Application, now: datetime) -> None:
    visit = book(tape, now, 4)
    visit_move(actor=Actor(word="x"), now=now, visit=visit, starts_at=now + 5 * DAY)
    assert day_of(tape) == (visit.pk, date(2027, 3, 15))


def test_visit_cannot_be_moved_past_the_window(tape: Application, now: datetime) -> None:
    visit = book(tape, now, 4)
    with pytest.raises(VisitRefused):
        visit_move(actor=Actor(word="x"), now=now, visit=visit, starts_at=now + 6 * DAY)
    visit.refresh_from_db()
    assert visit.starts_at == now + 4 * DAY


@pytest.mark.parametrize("state", ["cancelled", "did_not_attend"])
def test_lost_visit_gives_back_the_last_day(tape: Application, now: datetime, state: str) -> None:
    visit = book(tape, now, 4)
    visit_set_state(actor=Actor(word="x"), now=now, visit=visit, state=state)
    assert day_of(tape) == (None, date(2027, 3, 15))


def test_attended_visit_keeps_the_day(tape: Application, now: datetime) -> None:
    visit = book(tape, now, 4)
    visit_set_state(actor=Actor(word="x"), now=now, visit=visit, state="arrived")
    assert day_of(tape) == (visit.pk, date(2027, 3, 14))


def test_one_visit_takes_off_both_knees(tape: Application, now: datetime) -> None:
    right = other_knee(tape)
    visit = book(tape, now, 4)
    assert [day_of(tape), day_of(right)] == [(visit.pk, date(2027, 3, 14))] * 2


def test_visit_after_one_of_two_windows_is_for_the_other(tape: Application, now: datetime) -> None:
    right = other_knee(tape, opens_on=date(2027, 3, 12), closes_on=date(2027, 3, 12))
    visit = book(tape, now, 4)
    assert day_of(tape) == (visit.pk, date(2027, 3, 14))
    assert day_of(right) == (None, date(2027, 3, 12))


def test_ended_tape_no_longer_follows(tape: Application, now: datetime) -> None:
    visit = book(tape, now, 4)
    application_end(actor=Actor(word="x"), now=now, application=tape, how="off", ended_at=now, by="patient")
    visit_move(actor=Actor(word="x"), now=now, visit=visit, starts_at=now + 9 * DAY)
    assert day_of(tape) == (visit.pk, date(2027, 3, 14))


def test_visit_for_one_tape_alone(tape: Application, now: datetime) -> None:
    right = other_knee(tape)
    visit = removal_visit_book(
        actor=Actor(user=tape.therapist),
        now=now,
        application=right,
        therapist=tape.therapist,
        starts_at=now + 4 * DAY,
        visit=Visit(ends_at=now + 4 * DAY + timedelta(minutes=15)),
    )
    assert (day_of(tape), day_of(right)) == ((None, date(2027, 3, 15)), (visit.pk, date(2027, 3, 14)))
    visit_move(actor=Actor(word="x"), now=now, visit=visit, starts_at=now + 3 * DAY)
    assert (day_of(tape), day_of(right)) == ((None, date(2027, 3, 15)), (visit.pk, date(2027, 3, 13)))


def test_visit_for_one_tape_alone_is_not_booked_after_its_window(tape: Application, now: datetime) -> None:
    right = other_knee(tape, opens_on=date(2027, 3, 12), closes_on=date(2027, 3, 12))
    with pytest.raises(TapingRefused, match="Fri 12 Mar 2027"):
        removal_visit_book(
            actor=Actor(user=tape.therapist),
            now=now,
            application=right,
            therapist=tape.therapist,
            starts_at=now + 4 * DAY,
            visit=Visit(ends_at=now + 4 * DAY + timedelta(minutes=15)),
        )
    assert Visit.objects.count() == 0
    assert day_of(tape) == (None, date(2027, 3, 15))


def test_visit_of_another_patient_and_ended_tape_are_refused(tape: Application, now: datetime) -> None:
    actor = Actor(user=UserFactory())
    stranger = VisitFactory(purpose="removal")
    with pytest.raises(TapingRefused, match="another patient's"):
        removal_visit_set(actor=actor, now=now, application=tape, visit=stranger)
    application_end(actor=actor, now=now, application=tape, how="off", ended_at=now, by="patient")
    with pytest.raises(TapingRefused, match="off already"):
        removal_visit_set(actor=actor, now=now, application=tape, visit=stranger)
