"""Booking, moving and marking visits: what is stored, what is refused, and what is put on record."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError

from clinic.models import Event, Patient, User, Visit
from clinic.services import visits
from clinic.services.events import Actor
from clinic.services.visits import VisitRefused, visit_book, visit_move, visit_set_state
from clinic.signals import messages_stale, visit_changing
from tests.factories.clinic import PatientFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
STATES = ["arrived", "done", "did_not_attend", "cancelled"]


@pytest.fixture
def actor() -> Actor:
    return Actor(user=UserFactory(desk=True), origin="192.0.2.1")


@pytest.fixture
def tomorrow(now: datetime) -> datetime:
    return now + timedelta(days=1)


@pytest.fixture
def visit(tomorrow: datetime) -> Visit:
    """Booked for tomorrow at this hour, half an hour long."""
    made: Visit = VisitFactory(starts_at=tomorrow)
    return made


def book(actor: Actor, now: datetime, start: datetime, therapist: User, patient: Patient | None = None) -> Visit:
    unsaved = Visit(purpose="follow_up", note="rings first", ends_at=start + HOUR / 2)
    patient = patient or PatientFactory()
    return visit_book(actor=actor, now=now, patient=patient, therapist=therapist, starts_at=start, visit=unsaved)


def events_of(visit: Visit) -> list[tuple[str, list[str]]]:
    found = Event.objects.filter(subject_type="visit", subject_id=str(visit.pk)).order_by("id")
    return [(event.verb, event.fields) for event in found]


def test_a_booked_visit_holds_who_when_and_by_whom(actor: Actor, now: datetime, tomorrow: datetime) -> None:
    therapist, patient = UserFactory(), PatientFactory()
    stored = Visit.objects.get(pk=book(actor, now, tomorrow, therapist, patient).pk)
    assert (stored.patient, stored.therapist, stored.starts_at) == (patient, therapist, tomorrow)
    assert (stored.state, stored.sequence, stored.created_by) == ("booked", 0, actor.user)
    assert (stored.created_at, stored.changed_at) == (now, now)
    assert events_of(stored) == [("visit.booked", [])]


@pytest.mark.parametrize("late", [timedelta(), timedelta(seconds=-1)])
def test_a_time_that_is_past_is_not_booked(actor: Actor, now: datetime, late: timedelta) -> None:
    with pytest.raises(VisitRefused, match="already passed"):
        book(actor, now, now + late, UserFactory())
    assert Visit.objects.count() == 0


@pytest.mark.parametrize("offset", [0, 15, -15, 29, -29])
def test_a_taken_time_is_refused_by_name(actor: Actor, now: datetime, visit: Visit, offset: int) -> None:
    with pytest.raises(VisitRefused, match=f"{visit.therapist.full_name} already has a visit at that time"):
        book(actor, now, visit.starts_at + timedelta(minutes=offset), visit.therapist)
    assert (Visit.objects.count(), Event.objects.count()) == (1, 0)


@pytest.mark.parametrize("offset", [30, -30])
def test_visits_may_touch(actor: Actor, now: datetime, visit: Visit, offset: int) -> None:
    book(actor, now, visit.starts_at + timedelta(minutes=offset), visit.therapist)
    assert Visit.objects.count() == 2


def test_a_clash_that_only_the_database_sees_is_said_in_words(
    actor: Actor, now: datetime, visit: Visit, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(visits, "_refuse_overlap", lambda *args: None)
    with pytest.raises(VisitRefused, match="just taken"):
        book(actor, now, visit.starts_at, visit.therapist)
    other: Visit = VisitFactory(therapist=visit.therapist, starts_at=visit.ends_at)
    with pytest.raises(VisitRefused, match="just taken"):
        visit_move(actor=actor, now=now, visit=other, starts_at=visit.starts_at)
    gone: Visit = VisitFactory(therapist=visit.therapist, starts_at=visit.starts_at, state="did_not_attend")
    with pytest.raises(VisitRefused, match="given to another visit"):
        visit_set_state(actor=actor, now=now, visit=gone, state="arrived")


def test_another_fault_of_the_database_is_not_taken_for_a_clash(actor: Actor, now: datetime) -> None:
    start = now + HOUR
    with pytest.raises(IntegrityError):
        visit_book(
            actor=actor,
            now=now,
            patient=PatientFactory(),
            therapist=UserFactory(),
            starts_at=start,
            visit=Visit(ends_at=start - HOUR),
        )


def test_moving_keeps_the_length_and_the_calendar_entry(
    actor: Actor, now: datetime, visit: Visit, tomorrow: datetime
) -> None:
    visit_move(actor=actor, now=now, visit=visit, starts_at=tomorrow + 2 * HOUR)
    moved = Visit.objects.get(pk=visit.pk)
    assert (moved.starts_at, moved.ends_at) == (tomorrow + 2 * HOUR, tomorrow + 2 * HOUR + HOUR / 2)
    assert (moved.uid, moved.sequence, moved.therapist) == (visit.uid, 1, visit.therapist)
    assert events_of(visit) == [("visit.moved", ["ends_at", "starts_at"])]


def test_a_visit_moves_to_another_therapist(actor: Actor, now: datetime, visit: Visit) -> None:
    other = UserFactory()
    visit_move(actor=actor, now=now, visit=visit, starts_at=visit.starts_at, therapist=other)
    assert Visit.objects.get(pk=visit.pk).therapist == other
    assert events_of(visit) == [("visit.moved", ["therapist"])]


def test_a_visit_moves_within_its_own_time(actor: Actor, now: datetime, visit: Visit) -> None:
    later = visit.starts_at + timedelta(minutes=15)
    assert visit_move(actor=actor, now=now, visit=visit, starts_at=later).starts_at == later


def test_moving_it_to_where_it_is_changes_nothing(actor: Actor, now: datetime, visit: Visit) -> None:
    visit_move(actor=actor, now=now, visit=visit, starts_at=visit.starts_at, therapist=visit.therapist)
    stored = Visit.objects.get(pk=visit.pk)
    assert (stored.sequence, stored.plan_version, events_of(visit)) == (0, visit.plan_version, [])


def test_a_move_into_a_taken_time_or_the_past_changes_nothing(actor: Actor, now: datetime, visit: Visit) -> None:
    held: Visit = VisitFactory(therapist=visit.therapist, starts_at=visit.ends_at)
    with pytest.raises(VisitRefused, match="already has a visit"):
        visit_move(actor=actor, now=now, visit=visit, starts_at=held.starts_at)
    with pytest.raises(VisitRefused, match="already passed"):
        visit_move(actor=actor, now=now, visit=visit, starts_at=now)
    assert Visit.objects.get(pk=visit.pk).starts_at == visit.starts_at


@pytest.mark.parametrize("state", STATES)
def test_only_a_booked_visit_moves(actor: Actor, now: datetime, tomorrow: datetime, state: str) -> None:
    visit: Visit = VisitFactory(starts_at=tomorrow, state=state)
    with pytest.raises(VisitRefused, match=f"this one is: {visit.get_state_display().lower()}"):
        visit_move(actor=actor, now=now, visit=visit, starts_at=tomorrow + HOUR)


@pytest.mark.parametrize("state", STATES)
def test_marking_is_stored_and_put_on_record_once(actor: Actor, now: datetime, visit: Visit, state: str) -> None:
    for _ in range(2):
        visit_set_state(actor=actor, now=now, visit=visit, state=state)
    stored = Visit.objects.get(pk=visit.pk)
    assert (stored.state, stored.changed_at) == (state, now)
    assert stored.sequence == (1 if state == "cancelled" else 0)
    assert events_of(visit) == [(f"visit.{state}", ["state"])]


@pytest.mark.parametrize("state", ["booked", "arrived", "done", "did_not_attend"])
def test_a_cancelled_visit_stays_cancelled(actor: Actor, now: datetime, visit: Visit, state: str) -> None:
    visit_set_state(actor=actor, now=now, visit=visit, state="cancelled")
    with pytest.raises(VisitRefused, match="was cancelled"):
        visit_set_state(actor=actor, now=now, visit=visit, state=state)
    assert Visit.objects.get(pk=visit.pk).state == "cancelled"


def test_cancelling_frees_the_time_at_once(actor: Actor, now: datetime, visit: Visit) -> None:
    visit_set_state(actor=actor, now=now, visit=visit, state="cancelled")
    again = book(actor, now, visit.starts_at, visit.therapist)
    assert (again.starts_at, again.uid != visit.uid, again.sequence) == (visit.starts_at, True, 0)


def test_who_comes_late_finds_their_time_given_away(actor: Actor, now: datetime, visit: Visit) -> None:
    visit_set_state(actor=actor, now=now, visit=visit, state="did_not_attend")
    book(actor, now, visit.starts_at, visit.therapist)
    with pytest.raises(VisitRefused, match="already has a visit"):
        visit_set_state(actor=actor, now=now, visit=visit, state="arrived")


@pytest.mark.parametrize("act", ["book", "move", "cancel"])
def test_every_change_asks_for_new_messages_after_commit(
    actor: Actor, now: datetime, visit: Visit, django_capture_on_commit_callbacks: Any, act: str
) -> None:
    told: list[str] = []
    listener = lambda **kwargs: told.append("stale")  # noqa: E731
    messages_stale.connect(listener)
    with django_capture_on_commit_callbacks(execute=True):
        changed = {
            "book": lambda: book(actor, now, visit.ends_at, visit.therapist),
            "move": lambda: visit_move(actor=actor, now=now, visit=visit, starts_at=visit.starts_at + HOUR),
            "cancel": lambda: visit_set_state(actor=actor, now=now, visit=visit, state="cancelled"),
        }[act]()
        assert told == []
    messages_stale.disconnect(listener)
    stored = Visit.objects.get(pk=changed.pk)
    assert (told, stored.plan_version) == (["stale"], 2)


def test_a_listener_that_refuses_undoes_the_booking(actor: Actor, now: datetime, tomorrow: datetime) -> None:
    def refuse(**kwargs: Any) -> None:
        raise VisitRefused("too late for the tape")

    visit_changing.connect(refuse)
    try:
        with pytest.raises(VisitRefused, match="too late for the tape"):
            book(actor, now, tomorrow, UserFactory())
    finally:
        visit_changing.disconnect(refuse)
    assert (Visit.objects.count(), Event.objects.count()) == (0, 0)
