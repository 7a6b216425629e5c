"""Clock rules against the IANA time zone database, a second calendar (dateutil), and reported faults."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.clock import LocalTimeError, day_bounds, elapsed, local_date, local_time

# Wall clocks just before and at a transition, IANA tz database 2025b and 2026f, read with zoneinfo and zdump.
TRANSITIONS = [
    ("America/New_York", "2026-03-08T07:00", "01:59:59-05:00", "03:00:00-04:00"),
    ("America/New_York", "2026-11-01T06:00", "01:59:59-04:00", "01:00:00-05:00"),
    ("America/New_York", "2027-03-14T07:00", "01:59:59-05:00", "03:00:00-04:00"),
    ("America/New_York", "2027-11-07T06:00", "01:59:59-04:00", "01:00:00-05:00"),
    ("Europe/Berlin", "2026-03-29T01:00", "01:59:59+01:00", "03:00:00+02:00"),
    ("Europe/Berlin", "2026-10-25T01:00", "02:59:59+02:00", "02:00:00+01:00"),
    ("Europe/Berlin", "2027-03-28T01:00", "01:59:59+01:00", "03:00:00+02:00"),
    ("Europe/Berlin", "2027-10-31T01:00", "02:59:59+02:00", "02:00:00+01:00"),
    ("Europe/London", "2026-03-29T01:00", "00:59:59+00:00", "02:00:00+01:00"),
    ("Europe/London", "2026-10-25T01:00", "01:59:59+01:00", "01:00:00+00:00"),
    ("Europe/London", "2027-03-28T01:00", "00:59:59+00:00", "02:00:00+01:00"),
    ("Europe/London", "2027-10-31T01:00", "01:59:59+01:00", "01:00:00+00:00"),
    ("Australia/Sydney", "2026-04-04T16:00", "02:59:59+11:00", "02:00:00+10:00"),
    ("Australia/Sydney", "2026-10-03T16:00", "01:59:59+10:00", "03:00:00+11:00"),
    ("Australia/Sydney", "2027-04-03T16:00", "02:59:59+11:00", "02:00:00+10:00"),
    ("Australia/Sydney", "2027-10-02T16:00", "01:59:59+10:00", "03:00:00+11:00"),
    ("Australia/Lord_Howe", "2026-04-04T15:00", "01:59:59+11:00", "01:30:00+10:30"),
    ("Australia/Lord_Howe", "2026-10-03T15:30", "01:59:59+10:30", "02:30:00+11:00"),
    ("Australia/Lord_Howe", "2027-04-03T15:00", "01:59:59+11:00", "01:30:00+10:30"),
    ("Australia/Lord_Howe", "2027-10-02T15:30", "01:59:59+10:30", "02:30:00+11:00"),
    ("Pacific/Auckland", "2026-04-04T14:00", "02:59:59+13:00", "02:00:00+12:00"),
    ("Pacific/Auckland", "2026-09-26T14:00", "01:59:59+12:00", "03:00:00+13:00"),
    ("Pacific/Auckland", "2027-04-03T14:00", "02:59:59+13:00", "02:00:00+12:00"),
    ("Pacific/Auckland", "2027-09-25T14:00", "01:59:59+12:00", "03:00:00+13:00"),
    ("America/St_Johns", "2026-03-08T05:30", "01:59:59-03:30", "03:00:00-02:30"),
    ("America/St_Johns", "2026-11-01T04:30", "01:59:59-02:30", "01:00:00-03:30"),
    ("America/St_Johns", "2027-03-14T05:30", "01:59:59-03:30", "03:00:00-02:30"),
    ("America/St_Johns", "2027-11-07T04:30", "01:59:59-02:30", "01:00:00-03:30"),
    ("America/Santiago", "2026-04-05T03:00", "23:59:59-03:00", "23:00:00-04:00"),
    ("America/Santiago", "2026-09-06T04:00", "23:59:59-04:00", "01:00:00-03:00"),
    ("Pacific/Chatham", "2026-04-04T14:00", "03:44:59+13:45", "02:45:00+12:45"),
    ("Pacific/Chatham", "2026-09-26T14:00", "02:44:59+12:45", "03:45:00+13:45"),
]

# Local times without a moment of their own, and their two readings in UTC (same source).
SKIPPED = [
    ("America/New_York", "2026-03-08T02:30", "2026-03-08T06:30Z or 2026-03-08T07:30Z"),
    ("Australia/Sydney", "2026-10-04T02:30", "2026-10-03T15:30Z or 2026-10-03T16:30Z"),
    ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-03T15:15Z or 2026-10-03T15:45Z"),
    ("America/Santiago", "2026-09-06T00:00", "2026-09-06T03:00Z or 2026-09-06T04:00Z"),
    ("Pacific/Chatham", "2026-09-27T03:00", "2026-09-26T13:15Z or 2026-09-26T14:15Z"),
    ("America/St_Johns", "2026-03-08T02:30", "2026-03-08T05:00Z or 2026-03-08T06:00Z"),
    ("Europe/London", "2027-03-28T01:30", "2027-03-28T00:30Z or 2027-03-28T01:30Z"),
]
TWICE = [
    ("America/New_York", "2026-11-01T01:30", "2026-11-01T05:30Z or 2026-11-01T06:30Z"),
    ("Australia/Sydney", "2026-04-05T02:30", "2026-04-04T15:30Z or 2026-04-04T16:30Z"),
    ("Australia/Lord_Howe", "2026-04-05T01:45", "2026-04-04T14:45Z or 2026-04-04T15:15Z"),
    ("Europe/Berlin", "2027-10-31T02:30", "2027-10-31T00:30Z or 2027-10-31T01:30Z"),
    ("America/Santiago", "2026-04-04T23:30", "2026-04-05T02:30Z or 2026-04-05T03:30Z"),
    ("Pacific/Chatham", "2026-04-05T03:00", "2026-04-04T13:15Z or 2026-04-04T14:15Z"),
    ("Europe/London", "2027-10-31T01:30", "2027-10-31T00:30Z or 2027-10-31T01:30Z"),
]

# Days in UTC. Auckland and London: a report of "today" computed in UTC moving rows to a neighbouring day
# (django/django pull request 18660). The rest: IANA tz database.
DAYS = [
    ("Pacific/Auckland", "2027-01-15", "2027-01-14T11:00", "2027-01-15T11:00", 24),
    ("Europe/London", "2027-03-28", "2027-03-28T00:00", "2027-03-28T23:00", 23),
    ("Europe/London", "2027-10-31", "2027-10-30T23:00", "2027-11-01T00:00", 25),
    ("America/Santiago", "2026-09-06", "2026-09-06T04:00", "2026-09-07T03:00", 23),
    ("America/Santiago", "2026-04-04", "2026-04-04T03:00", "2026-04-05T04:00", 25),
    ("Australia/Lord_Howe", "2026-10-04", "2026-10-03T13:30", "2026-10-04T13:00", 23.5),
    ("Australia/Lord_Howe", "2026-04-05", "2026-04-04T13:00", "2026-04-05T13:30", 24.5),
    # In Havana midnight itself happens twice; the day begins at the first.
    ("America/Havana", "2025-11-02", "2025-11-02T04:00", "2025-11-03T05:00", 25),
    # In Toronto the clocks of 1919 went from 23:30 to 00:30, over midnight.
    ("America/Toronto", "1919-03-30", "1919-03-30T05:00", "1919-03-31T04:30", 23.5),
    ("America/Toronto", "1919-03-31", "1919-03-31T04:30", "1919-04-01T04:00", 23.5),
]

ZONES = sorted({zone for zone, *_ in TRANSITIONS} | {"Asia/Kolkata", "Asia/Kathmandu", "America/Sao_Paulo"})

wall_times = st.datetimes(datetime(2000, 1, 1), datetime(2036, 12, 31)).map(lambda at: at.replace(fold=0))


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(("zone", "at", "before", "after"), TRANSITIONS)
def test_one_second_across_a_clock_change_against_the_tz_database(zone: str, at: str, before: str, after: str) -> None:
    last = (utc(at) - timedelta(seconds=1)).astimezone(ZoneInfo(zone))
    assert last.isoformat().endswith(before)
    assert elapsed(last, timedelta(seconds=1)).isoformat().endswith(after)


@pytest.mark.parametrize(("zone", "wall", "readings"), SKIPPED)
def test_skipped_local_times_against_the_tz_database(zone: str, wall: str, readings: str) -> None:
    with pytest.raises(LocalTimeError, match="does not exist") as refused:
        local_time(datetime.fromisoformat(wall), ZoneInfo(zone))
    assert f"({readings})" in str(refused.value)


@pytest.mark.parametrize(("zone", "wall", "readings"), TWICE)
def test_doubled_local_times_against_the_tz_database(zone: str, wall: str, readings: str) -> None:
    with pytest.raises(LocalTimeError, match="happens twice") as refused:
        local_time(datetime.fromisoformat(wall), ZoneInfo(zone))
    assert f": {readings};" in str(refused.value)


@pytest.mark.parametrize(("zone", "day", "begins", "ends", "hours"), DAYS)
def test_day_bounds_against_the_tz_database(zone: str, day: str, begins: str, ends: str, hours: float) -> None:
    bounds = day_bounds(date.fromisoformat(day), ZoneInfo(zone))
    assert bounds == (utc(begins), utc(ends))
    assert bounds[1] - bounds[0] == timedelta(hours=hours)


@settings(deadline=None)
@given(wall_times, st.sampled_from(ZONES))
def test_local_times_against_dateutil(typed: datetime, zone: str) -> None:
    other = tz.gettz(zone)
    if tz.datetime_exists(typed, other) and not tz.datetime_ambiguous(typed, other):
        assert local_time(typed, ZoneInfo(zone)).astimezone(UTC) == typed.replace(tzinfo=other).astimezone(UTC)
    else:
        with pytest.raises(LocalTimeError):
            local_time(typed, ZoneInfo(zone))


@settings(deadline=None)
@given(wall_times, st.sampled_from(ZONES))
def test_the_local_date_against_dateutil(at: datetime, zone: str) -> None:
    moment = at.replace(tzinfo=UTC)
    assert local_date(moment, ZoneInfo(zone)) == moment.astimezone(tz.gettz(zone)).date()


@settings(deadline=None)
@given(wall_times, st.sampled_from(ZONES))
def test_every_moment_lies_in_the_bounds_of_its_own_day_only(at: datetime, zone: str) -> None:
    moment = at.replace(tzinfo=UTC)
    day = local_date(moment, ZoneInfo(zone))
    begins, ends = day_bounds(day, ZoneInfo(zone))
    assert begins <= moment < ends
    assert day_bounds(day + timedelta(days=1), ZoneInfo(zone))[0] == ends
    assert local_date(begins - timedelta(seconds=1), ZoneInfo(zone)) < day == local_date(begins, ZoneInfo(zone))
