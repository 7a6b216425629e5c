"""No therapist has two visits at once: the database itself refuses, whichever database it is."""

from datetime import datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from clinic.models import Visit
from tests.factories.clinic import UserFactory, VisitFactory

NOON = timedelta(hours=2)  # 12:00 of the tests' day in New York
HALF = timedelta(minutes=30)

pytestmark = pytest.mark.django_db


def _visit(therapist: object, now: datetime, start: int, end: int, state: str = "booked") -> Visit:
    """A visit start to end minutes after noon."""
    noon = now + NOON
    times = {"starts_at": noon + timedelta(minutes=start), "ends_at": noon + timedelta(minutes=end)}
    visit: Visit = VisitFactory(therapist=therapist, state=state, **times)
    return visit


@pytest.mark.parametrize(("start", "end"), [(0, 30), (15, 45), (-15, 15), (5, 10), (-60, 90)])
def test_an_overlapping_visit_is_refused_by_the_database(now: datetime, start: int, end: int) -> None:
    therapist = UserFactory()
    _visit(therapist, now, 0, 30)
    with pytest.raises(IntegrityError, match="visit_no_overlap"), transaction.atomic():
        _visit(therapist, now, start, end)
    assert Visit.objects.count() == 1


@pytest.mark.parametrize(("start", "end"), [(30, 60), (-30, 0)])
def test_visits_that_touch_are_kept(now: datetime, start: int, end: int) -> None:
    therapist = UserFactory()
    _visit(therapist, now, 0, 30)
    _visit(therapist, now, start, end)
    assert Visit.objects.count() == 2


def test_two_therapists_work_at_the_same_time(now: datetime) -> None:
    _visit(UserFactory(), now, 0, 30)
    _visit(UserFactory(), now, 0, 30)
    assert Visit.objects.count() == 2


@pytest.mark.parametrize("state", ["cancelled", "did_not_attend"])
def test_what_was_cancelled_or_missed_leaves_its_time_free(now: datetime, state: str) -> None:
    therapist = UserFactory()
    _visit(therapist, now, 0, 30, state)
    _visit(therapist, now, 0, 30)
    _visit(therapist, now, 0, 30, state)
    assert Visit.objects.count() == 3


@pytest.mark.parametrize("state", ["arrived", "done"])
def test_who_has_arrived_or_is_done_still_takes_the_time(now: datetime, state: str) -> None:
    therapist = UserFactory()
    _visit(therapist, now, 0, 30, state)
    with pytest.raises(IntegrityError, match="visit_no_overlap"), transaction.atomic():
        _visit(therapist, now, 15, 45)


@pytest.mark.parametrize(
    "change",
    [
        {"state": "booked"},
        {"starts_at": timedelta(minutes=15), "ends_at": timedelta(minutes=45), "state": "done"},
    ],
)
def test_a_change_into_a_taken_time_is_refused(now: datetime, change: dict[str, object]) -> None:
    therapist = UserFactory()
    _visit(therapist, now, 0, 30)
    other = _visit(therapist, now, 0, 30, "cancelled")
    values = {name: now + NOON + value if isinstance(value, timedelta) else value for name, value in change.items()}
    with pytest.raises(IntegrityError, match="visit_no_overlap"), transaction.atomic():
        Visit.objects.filter(pk=other.pk).update(**values)
    other.refresh_from_db()
    assert other.state == "cancelled"


def test_a_visit_given_to_a_therapist_who_is_busy_is_refused(now: datetime) -> None:
    busy = UserFactory()
    _visit(busy, now, 0, 30)
    other = _visit(UserFactory(), now, 0, 30)
    with pytest.raises(IntegrityError, match="visit_no_overlap"), transaction.atomic():
        Visit.objects.filter(pk=other.pk).update(therapist=busy)


def test_a_visit_may_move_within_its_own_time(now: datetime) -> None:
    visit = _visit(UserFactory(), now, 0, 30)
    Visit.objects.filter(pk=visit.pk).update(starts_at=now + NOON + HALF / 2, ends_at=now + NOON + HALF * 2)
    visit.refresh_from_db()
    assert visit.ends_at - visit.starts_at == timedelta(minutes=45)
