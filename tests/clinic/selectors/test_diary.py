"""What is free and what stands, read from the database."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection

from clinic.models import Closure, OpeningHours
from clinic.selectors import day_range, visits_between
from clinic.selectors.diary import Openings, Window, Wish, diary_columns, offered_days, openings_of
from tests.factories.clinic import UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

NEW_YORK, LONDON = ZoneInfo("America/New_York"), ZoneInfo("Europe/London")
WORK = Openings({0: [(time(8), time(12)), (time(13), time(0))]}, {})
MONDAY = datetime(2027, 3, 15, tzinfo=NEW_YORK)


@pytest.mark.parametrize(
    ("start", "end", "why"),
    [
        (time(8), time(8, 30), ""),
        (time(11, 30), time(12), ""),
        (time(7, 59), time(8, 30), "outside the opening hours"),
        (time(11, 45), time(12, 15), "outside the opening hours"),
        (time(12), time(13), "outside the opening hours"),
        (time(23, 30), time(0), ""),
        (time(23, 45), time(0, 15), "outside the opening hours"),
    ],
)
def test_a_visit_has_to_lie_within_one_span(start: time, end: time, why: str) -> None:
    begins = datetime.combine(MONDAY, start, tzinfo=NEW_YORK)
    ends = datetime.combine(MONDAY + timedelta(days=end < start), end, tzinfo=NEW_YORK)
    assert WORK.why_unusual(begins.astimezone(UTC), ends.astimezone(UTC), NEW_YORK) == why


def test_a_closure_without_a_reason_is_a_closure() -> None:
    day = date(2027, 3, 15)
    assert Openings(WORK.hours, {day: ""}).why_closed(day) == "closed"


@pytest.mark.parametrize(
    ("day", "mark"),
    [(13, ""), (14, "day 3 of the wear window"), (16, "day 5 of the wear window"), (17, "")],
)
def test_the_first_and_the_last_day_belong_to_the_window(day: int, mark: str) -> None:
    window = Window(date(2027, 3, 14), date(2027, 3, 16), applied=date(2027, 3, 11))
    assert window.mark(date(2027, 3, day)) == mark


def test_days_are_offered_in_order_with_the_window_among_them(clinic: object, now: datetime) -> None:
    window = Window(date(2027, 3, 8), date(2027, 3, 20))
    days = offered_days(date(2027, 3, 10), window, wish=Wish(UserFactory(), 30), now=now, zone=NEW_YORK)
    assert [one.day.day for one in days] == [10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20]
    assert [one.why_none for one in days if not one.times] == ["no opening hours on this weekday"] * 3


def test_a_day_that_is_booked_out_says_so(clinic: object, now: datetime) -> None:
    therapist, start = UserFactory(), datetime(2027, 3, 11, 8, tzinfo=NEW_YORK)
    VisitFactory(therapist=therapist, starts_at=start, ends_at=start + timedelta(hours=10))
    day = offered_days(date(2027, 3, 11), None, wish=Wish(therapist, 30), now=now, zone=NEW_YORK)[0]
    assert (day.times, day.why_none) == ((), "everything is taken")


@pytest.mark.parametrize(("length", "second"), [(30, "08:30"), (60, "08:30"), (20, "08:15")])
def test_short_visits_begin_at_every_quarter(clinic: object, now: datetime, length: int, second: str) -> None:
    day = offered_days(date(2027, 3, 11), None, wish=Wish(UserFactory(), length), now=now, zone=NEW_YORK)[0]
    assert f"{day.times[1].starts_at.astimezone(NEW_YORK):%H:%M}" == second


def test_a_visit_that_is_to_move_leaves_its_own_time_free(clinic: object, now: datetime) -> None:
    visit = VisitFactory(starts_at=datetime(2027, 3, 11, 8, tzinfo=NEW_YORK))
    wishes = Wish(visit.therapist, 30), Wish(visit.therapist, 30, leave_out=visit.pk)
    found = [offered_days(date(2027, 3, 11), None, wish=wish, now=now, zone=NEW_YORK)[0] for wish in wishes]
    assert [visit.starts_at in [one.starts_at for one in day.times] for day in found] == [False, True]


def test_own_hours_and_time_off_come_before_the_clinics(clinic: object) -> None:
    therapist, friday = UserFactory(), date(2027, 3, 12)
    OpeningHours.objects.create(therapist=therapist, weekday=4, opens="09:00", closes="11:00")
    Closure.objects.create(day=friday, therapist=therapist, reason="Training")
    openings = openings_of(therapist, friday, friday)
    assert (openings.hours, openings.closures) == ({4: [(time(9), time(11))]}, {friday: "Training"})


def test_a_column_holds_only_its_own_visits(clinic: object, now: datetime) -> None:
    first, second = (VisitFactory(starts_at=datetime(2027, 3, 11, 9, tzinfo=NEW_YORK)) for _ in range(2))
    staff = [first.therapist]
    both = diary_columns(date(2027, 3, 11), staff, only=False, now=now, zone=NEW_YORK)
    one = diary_columns(date(2027, 3, 11), staff, only=True, now=now, zone=NEW_YORK)
    assert [column.visits for column in both] == [(first,), (second,)]
    assert [column.visits for column in one] == [(first,)]


@pytest.mark.parametrize(
    ("zone", "day", "start", "hours"),
    [
        # lengths and offsets of the tz database
        ("Pacific/Auckland", date(2027, 1, 15), datetime(2027, 1, 14, 11, tzinfo=UTC), 24),
        ("Europe/London", date(2027, 3, 28), datetime(2027, 3, 28, 0, tzinfo=UTC), 23),
        ("Europe/London", date(2027, 10, 31), datetime(2027, 10, 30, 23, tzinfo=UTC), 25),
    ],
)
def test_a_local_day_is_a_half_open_range_of_instants(zone: str, day: date, start: datetime, hours: int) -> None:
    assert day_range(day, ZoneInfo(zone)) == (start, start + timedelta(hours=hours))


def test_a_day_is_found_by_the_index_on_the_instant() -> None:
    start, end = day_range(date(2027, 10, 31), LONDON)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL enable_seqscan = off")  # a table of a few rows is quicker read whole
    plan = visits_between(start, end).explain()
    assert "visit_starts" in plan or "visit_therapist_starts" in plan
