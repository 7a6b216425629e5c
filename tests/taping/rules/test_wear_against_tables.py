"""Waiting and wearing against the tz database, a second calendar (dateutil) and reported faults."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.clock import local_time
from taping.rules.wear import adhesion_ends, earliest_taping, skin_rest_ends, water_ends, wear_window

# Applied (local), zone, its UTC, hours elapsed → wall clock then; and the same wall clock days later in UTC, with
# the real hours between. IANA tz database 2025b and 2026f, read with zoneinfo.
ELAPSED = [
    ("America/New_York", "2026-03-06T10:00", "2026-03-06T15:00", 72, "2026-03-09T11:00:00-04:00"),
    ("America/New_York", "2026-10-30T10:00", "2026-10-30T14:00", 96, "2026-11-03T09:00:00-05:00"),
    ("Australia/Sydney", "2026-04-02T10:00", "2026-04-01T23:00", 120, "2026-04-07T09:00:00+10:00"),
    ("Australia/Sydney", "2026-10-02T10:00", "2026-10-02T00:00", 72, "2026-10-05T11:00:00+11:00"),
    ("Australia/Lord_Howe", "2026-04-03T10:00", "2026-04-02T23:00", 72, "2026-04-06T09:30:00+10:30"),
    ("Australia/Lord_Howe", "2026-10-02T10:00", "2026-10-01T23:30", 96, "2026-10-06T10:30:00+11:00"),
    ("Europe/Berlin", "2027-03-26T18:00", "2027-03-26T17:00", 72, "2027-03-29T19:00:00+02:00"),
    ("Asia/Kolkata", "2026-03-06T10:00", "2026-03-06T04:30", 72, "2026-03-09T10:00:00+05:30"),
    ("America/St_Johns", "2026-03-06T10:00", "2026-03-06T13:30", 72, "2026-03-09T11:00:00-02:30"),
]
CALENDAR = [
    ("America/New_York", "2026-03-06T10:00", 3, "2026-03-09T14:00", 71),
    ("America/New_York", "2026-10-30T10:00", 4, "2026-11-03T15:00", 97),
    ("Australia/Sydney", "2026-04-02T10:00", 5, "2026-04-07T00:00", 121),
    ("Australia/Sydney", "2026-10-02T10:00", 3, "2026-10-04T23:00", 71),
    ("Australia/Lord_Howe", "2026-04-03T10:00", 3, "2026-04-05T23:30", 72.5),
    ("Australia/Lord_Howe", "2026-10-02T10:00", 4, "2026-10-05T23:00", 95.5),
    ("Europe/Berlin", "2027-03-26T18:00", 3, "2027-03-29T16:00", 71),
    ("Asia/Kolkata", "2026-03-06T10:00", 3, "2026-03-09T04:30", 72),
    ("America/St_Johns", "2026-03-06T10:00", 3, "2026-03-09T12:30", 71),
    # "Three days" and "72 hours" taken for one another across a clock change: discuss.python.org, PEP 615 thread.
    ("Europe/London", "2027-03-27T10:00", 3, "2027-03-30T09:00", 71),
    ("Europe/London", "2027-10-29T18:30", 3, "2027-11-01T18:30", 73),
]

# A wait that runs across a clock change: applied in UTC, minutes, wall clock at its end (IANA tz database).
ACROSS = [
    ("America/New_York", "2026-03-08T06:50", 20, "2026-03-08T03:10:00-04:00"),
    ("America/New_York", "2026-11-01T05:50", 20, "2026-11-01T01:10:00-05:00"),
    ("America/Santiago", "2026-09-06T03:50", 20, "2026-09-06T01:10:00-03:00"),
    ("America/Santiago", "2026-04-05T02:50", 20, "2026-04-04T23:10:00-04:00"),
    ("Australia/Lord_Howe", "2026-04-04T14:50", 20, "2026-04-05T01:40:00+10:30"),
    ("Australia/Lord_Howe", "2026-10-03T15:20", 20, "2026-10-04T02:40:00+11:00"),
    ("Pacific/Chatham", "2026-04-04T13:50", 20, "2026-04-05T02:55:00+12:45"),
    ("Pacific/Chatham", "2026-09-26T13:50", 20, "2026-09-27T03:55:00+13:45"),
    ("America/St_Johns", "2026-03-08T05:20", 20, "2026-03-08T03:10:00-02:30"),
    ("Europe/London", "2027-10-31T00:50", 20, "2027-10-31T01:10:00+00:00"),
]

ZONES = ["America/New_York", "Australia/Lord_Howe", "America/St_Johns", "Pacific/Chatham", "America/Santiago"]
moments = st.datetimes(datetime(2000, 1, 1), datetime(2036, 12, 1)).map(lambda at: at.replace(fold=0, tzinfo=UTC))


@pytest.mark.parametrize(("zone", "applied", "utc", "hours", "wall"), ELAPSED)
def test_elapsed_hours_against_the_tz_database(zone: str, applied: str, utc: str, hours: int, wall: str) -> None:
    start = local_time(datetime.fromisoformat(applied), ZoneInfo(zone))
    assert start.astimezone(UTC) == datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert skin_rest_ends(start, hours).isoformat() == wall


@pytest.mark.parametrize(("zone", "applied", "days", "utc", "hours"), CALENDAR)
def test_calendar_days_against_the_tz_database(zone: str, applied: str, days: int, utc: str, hours: float) -> None:
    start = local_time(datetime.fromisoformat(applied), ZoneInfo(zone))
    closes_on = wear_window(start, ZoneInfo(zone), 1, days).closes_on
    end = local_time(datetime.combine(closes_on, start.time()), ZoneInfo(zone)).astimezone(UTC)
    assert end == datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert end - start.astimezone(UTC) == timedelta(hours=hours)


@pytest.mark.parametrize(
    ("applied", "wall"),
    [("2027-03-27T10:00", "2027-03-30T11:00:00+01:00"), ("2027-10-29T18:30", "2027-11-01T17:30:00+00:00")],
)
def test_seventy_two_hours_in_london_against_the_pep_615_thread(applied: str, wall: str) -> None:
    start = local_time(datetime.fromisoformat(applied), ZoneInfo("Europe/London"))
    assert skin_rest_ends(start, 72).isoformat() == wall


@pytest.mark.parametrize(("zone", "applied", "minutes", "wall"), ACROSS)
def test_a_wait_across_a_clock_change_against_the_tz_database(zone: str, applied: str, minutes: int, wall: str) -> None:
    start = datetime.fromisoformat(applied).replace(tzinfo=UTC).astimezone(ZoneInfo(zone))
    assert adhesion_ends(start, minutes).isoformat() == wall
    assert earliest_taping(start, minutes).isoformat() == wall


@settings(deadline=None)
@given(moments, st.sampled_from(ZONES), st.integers(20, 120))
def test_waits_against_dateutil(at: datetime, zone: str, minutes: int) -> None:
    start = at.astimezone(ZoneInfo(zone))
    expected = (at + timedelta(minutes=minutes)).astimezone(tz.gettz(zone))
    for ends in (adhesion_ends(start, minutes), water_ends(start, minutes), earliest_taping(start, minutes)):
        assert ends.replace(tzinfo=None) == expected.replace(tzinfo=None)
        assert ends.utcoffset() == expected.utcoffset()


@settings(deadline=None)
@given(moments, st.sampled_from(ZONES), st.integers(1, 7), st.integers(1, 7))
def test_the_wear_window_against_dateutil(at: datetime, zone: str, one: int, other: int) -> None:
    first, last = sorted((one, other))
    window = wear_window(at, ZoneInfo(zone), first, last)
    taped_on = at.astimezone(tz.gettz(zone)).date()
    assert window.opens_on == taped_on + relativedelta(days=first)
    assert window.closes_on == taped_on + relativedelta(days=last)


@pytest.mark.parametrize(
    ("zone", "at", "taped_on"),
    [
        # "Today" computed in UTC moves rows to a neighbouring day: django/django pull request 18660.
        ("Pacific/Auckland", "2027-01-14T19:00", date(2027, 1, 15)),
        ("Pacific/Auckland", "2027-01-14T10:59", date(2027, 1, 14)),
        ("Europe/London", "2027-10-30T23:00", date(2027, 10, 31)),
        ("Europe/London", "2027-10-30T22:59", date(2027, 10, 30)),
    ],
)
def test_the_day_of_the_tape_against_the_report_of_utc_days(zone: str, at: str, taped_on: date) -> None:
    moment = datetime.fromisoformat(at).replace(tzinfo=UTC)
    assert wear_window(moment, ZoneInfo(zone)).applied_on == taped_on
