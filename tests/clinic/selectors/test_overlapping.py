"""What takes a therapist's time is found without reading the years behind."""

from datetime import datetime, timedelta

import pytest
from django.db import connection

from clinic.models import Clinic, Visit
from clinic.selectors import visits_overlapping
from clinic.services.events import Actor
from clinic.services.visits import VisitRefused, visit_book
from tests.factories import PatientFactory, VisitFactory
from tests.factories.clinic import UserFactory

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.mark.parametrize(
    ("begins", "ends", "found"),
    [(-24, 1, True), (-1, 0, False), (-1, 1, True), (0, 1, True), (1, 2, False), (-2, 3, True), (-30, -6, False)],
)
def test_times_that_overlap_and_times_that_touch(now: datetime, begins: int, ends: int, found: bool) -> None:
    visit = VisitFactory(starts_at=now + begins * HOUR + timedelta(minutes=begins == -24), ends_at=now + ends * HOUR)
    assert visits_overlapping(visit.therapist, now, now + HOUR).exists() is found
    assert not visits_overlapping(UserFactory(is_therapist=True), now, now + HOUR).exists()


@pytest.mark.parametrize("state", ["cancelled", "did_not_attend"])
def test_a_visit_that_takes_no_time_leaves_it_free(now: datetime, state: str) -> None:
    visit = VisitFactory(starts_at=now, ends_at=now + HOUR, state=state)
    assert not visits_overlapping(visit.therapist, now, now + HOUR).exists()


def test_a_visit_of_more_than_a_day_is_refused(now: datetime, clinic: Clinic) -> None:
    """Nothing longer can be stored, or it would be overlooked."""

    def book(length: timedelta) -> Visit:
        start = now + HOUR
        return visit_book(
            actor=Actor(word="test"), now=now, patient=PatientFactory(), therapist=UserFactory(is_therapist=True),
            starts_at=start, visit=Visit(ends_at=start + length),
        )  # fmt: skip

    assert book(24 * HOUR).pk
    with pytest.raises(VisitRefused, match="at most 24 hours"):
        book(24 * HOUR + timedelta(minutes=1))


def test_both_ends_of_the_time_are_looked_for_in_the_index(now: datetime) -> None:
    visit = VisitFactory(starts_at=now, ends_at=now + HOUR)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":  # a table of a few rows is quicker read whole
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute("SET LOCAL enable_bitmapscan = off")
    plan = visits_overlapping(visit.therapist, now, now + HOUR).explain()
    if connection.vendor == "sqlite":
        assert "visit_therapist_starts (therapist_id=? AND starts_at>? AND starts_at<?)" in plan
    else:
        assert "starts_at >" in plan.partition("Index Cond:")[2].partition("Filter:")[0]
