"""Wall clocks and instants, checked against the IANA time zone database and dateutil's reading of it."""

from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz as dateutil_tz
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.rules.local_time import (
    LocalTimeError,
    as_instant,
    at_clock,
    change_between,
    day_starts,
    exact_local,
    require_zone,
)

# IANA time zone database, releases 2025b and 2026f agree: the instant of each change and what clocks show from then on.
CHANGES = [
    ("America/New_York", "2026-03-08T07:00", "03:00"),
    ("America/New_York", "2026-11-01T06:00", "01:00"),
    ("America/New_York", "2027-03-14T07:00", "03:00"),
    ("America/New_York", "2027-11-07T06:00", "01:00"),
    ("Europe/London", "2027-03-28T01:00", "02:00"),
    ("Europe/London", "2027-10-31T01:00", "01:00"),
    ("Europe/Berlin", "2026-03-29T01:00", "03:00"),
    ("Europe/Berlin", "2027-10-31T01:00", "02:00"),
    ("Australia/Sydney", "2026-04-04T16:00", "02:00"),
    ("Australia/Sydney", "2026-10-03T16:00", "03:00"),
    ("Australia/Lord_Howe", "2026-04-04T15:00", "01:30"),
    ("Australia/Lord_Howe", "2026-10-03T15:30", "02:30"),
    ("Pacific/Auckland", "2026-09-26T14:00", "03:00"),
    ("America/St_Johns", "2026-03-08T05:30", "03:00"),
    ("America/St_Johns", "2026-11-01T04:30", "01:00"),
    ("America/Santiago", "2026-04-05T03:00", "23:00"),
    ("America/Santiago", "2026-09-06T04:00", "01:00"),
    ("Pacific/Chatham", "2026-09-26T14:00", "03:45"),
]

# The same database: times that clocks skip, and the instant after the gap.
GAPS = [
    ("America/New_York", "2026-03-08T02:30", "2026-03-08T07:00"),
    ("Australia/Sydney", "2026-10-04T02:30", "2026-10-03T16:00"),
    ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-03T15:30"),
    ("Europe/London", "2027-03-28T01:30", "2027-03-28T01:00"),
    ("America/Santiago", "2026-09-06T00:00", "2026-09-06T04:00"),
    ("Pacific/Apia", "2011-12-30T12:00", "2011-12-30T10:00"),
]

# The same database: times that happen twice, first and second reading.
FOLDS = [
    ("America/New_York", "2026-11-01T01:30", "2026-11-01T05:30", "2026-11-01T06:30"),
    ("Australia/Sydney", "2026-04-05T02:30", "2026-04-04T15:30", "2026-04-04T16:30"),
    ("Australia/Lord_Howe", "2026-04-05T01:45", "2026-04-04T14:45", "2026-04-04T15:15"),
    ("Europe/Berlin", "2027-10-31T02:30", "2027-10-31T00:30", "2027-10-31T01:30"),
    ("Europe/London", "2027-10-31T01:30", "2027-10-31T00:30", "2027-10-31T01:30"),
]

ZONES = sorted({zone for zone, *_ in CHANGES} | {"Asia/Kolkata", "Asia/Kathmandu", "UTC"})


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(("zone", "instant", "shown"), CHANGES)
def test_a_clock_change_is_found_to_the_second_against_iana(zone: str, instant: str, shown: str) -> None:
    at = utc(instant)

    found = change_between(at - timedelta(hours=9), at + timedelta(hours=9), ZoneInfo(zone))

    assert found == at
    assert f"{found.astimezone(ZoneInfo(zone)):%H:%M}" == shown


def test_a_clock_change_at_the_very_end_of_the_search_is_found() -> None:
    at = utc("2026-03-08T07:00")

    assert change_between(at - timedelta(seconds=1), at, ZoneInfo("America/New_York")) == at


@pytest.mark.parametrize(("zone", "wall", "after"), GAPS)
def test_a_skipped_time_is_the_first_instant_after_the_gap_against_iana(zone: str, wall: str, after: str) -> None:
    skipped = datetime.fromisoformat(wall)

    assert at_clock(skipped.date(), skipped.time(), ZoneInfo(zone)) == utc(after)


@pytest.mark.parametrize(("zone", "wall", "first", "second"), FOLDS)
def test_a_repeated_time_is_its_first_reading_against_iana(zone: str, wall: str, first: str, second: str) -> None:
    twice = datetime.fromisoformat(wall)

    assert at_clock(twice.date(), twice.time(), ZoneInfo(zone)) == utc(first)


# IANA time zone database by way of a daily job at nine in London over both changes of 2027.
@pytest.mark.parametrize(
    ("day", "instant"),
    [
        ("2027-03-27", "2027-03-27T09:00"),
        ("2027-03-28", "2027-03-28T08:00"),
        ("2027-03-29", "2027-03-29T08:00"),
        ("2027-10-30", "2027-10-30T08:00"),
        ("2027-10-31", "2027-10-31T09:00"),
        ("2027-11-01", "2027-11-01T09:00"),
    ],
)
def test_nine_o_clock_stays_nine_o_clock_against_iana(day: str, instant: str) -> None:
    assert at_clock(date.fromisoformat(day), time(9), ZoneInfo("Europe/London")) == utc(instant)


@settings(deadline=None)
@given(
    st.dates(date(2026, 1, 1), date(2027, 12, 31)),
    st.times().map(lambda t: t.replace(microsecond=0, fold=0)),
    st.sampled_from(ZONES),
)
def test_a_clock_time_is_the_same_instant_against_dateutil(day: date, clock: time, zone: str) -> None:
    second = dateutil_tz.gettz(zone)
    wall = datetime.combine(day, clock, second)

    if dateutil_tz.datetime_exists(wall):
        assert at_clock(day, clock, ZoneInfo(zone)) == wall.astimezone(UTC)
    else:
        later = dateutil_tz.resolve_imaginary(wall)
        assert at_clock(day, clock, ZoneInfo(zone)) <= later.astimezone(UTC)


def test_a_clock_time_is_exact_to_the_microsecond() -> None:
    last = time(23, 59, 59, 999_999)

    assert at_clock(date(2027, 1, 15), last, ZoneInfo("Europe/London")) == datetime(
        2027, 1, 15, 23, 59, 59, 999_999, tzinfo=UTC
    )


# IANA time zone database: the first and last instant of some days, 23 and 25 hours long among them.
@pytest.mark.parametrize(
    ("zone", "day", "starts", "ends"),
    [
        ("Pacific/Auckland", "2027-01-15", "2027-01-14T11:00", "2027-01-15T11:00"),
        ("Europe/London", "2027-03-28", "2027-03-28T00:00", "2027-03-28T23:00"),
        ("Europe/London", "2027-10-31", "2027-10-30T23:00", "2027-11-01T00:00"),
        ("America/Santiago", "2026-09-06", "2026-09-06T04:00", "2026-09-07T03:00"),
    ],
)
def test_a_day_begins_and_ends_with_the_clinic_against_iana(zone: str, day: str, starts: str, ends: str) -> None:
    first = date.fromisoformat(day)

    assert day_starts(first, ZoneInfo(zone)) == utc(starts)
    assert day_starts(first + timedelta(days=1), ZoneInfo(zone)) == utc(ends)


def test_a_typed_time_that_exists_once_is_taken() -> None:
    assert exact_local(datetime(2027, 3, 28, 2, 30), ZoneInfo("Europe/London")) == utc("2027-03-28T01:30")


@pytest.mark.parametrize(("zone", "wall", "after"), GAPS)
def test_a_typed_time_that_clocks_skip_is_refused_against_iana(zone: str, wall: str, after: str) -> None:
    with pytest.raises(LocalTimeError, match="does not exist"):
        exact_local(datetime.fromisoformat(wall), ZoneInfo(zone))


@pytest.mark.parametrize(("zone", "wall", "first", "second"), FOLDS)
def test_a_typed_time_that_happens_twice_is_refused_against_iana(zone: str, wall: str, first: str, second: str) -> None:
    with pytest.raises(LocalTimeError) as refused:
        exact_local(datetime.fromisoformat(wall), ZoneInfo(zone))

    said = str(refused.value)
    assert said == f"{wall.replace('T', ' ')} in {zone} happens twice: write {first[11:]} or {second[11:]} UTC instead"


def test_the_refusal_of_a_skipped_time_says_what_would_work() -> None:
    with pytest.raises(LocalTimeError) as refused:
        exact_local(datetime(2027, 3, 28, 1, 30), ZoneInfo("Europe/London"))

    assert str(refused.value) == (
        "2027-03-28 01:30 in Europe/London does not exist: the clocks skip it, choose an earlier or a later time"
    )


def test_a_typed_time_with_a_zone_of_its_own_is_refused() -> None:
    with pytest.raises(ValueError, match="carries no zone of its own: 2027-03-28T01:30:00"):
        exact_local(datetime(2027, 3, 28, 1, 30, tzinfo=UTC), ZoneInfo("Europe/London"))


def test_an_instant_is_told_in_utc() -> None:
    at = as_instant(datetime(2027, 3, 26, 10, 0, tzinfo=timezone(timedelta(hours=-4))), "applied_at")

    assert (at, at.tzinfo) == (utc("2027-03-26T14:00"), UTC)


def test_an_instant_without_a_zone_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"^applied_at needs a time zone: 2027-03-26T10:00:00 has none$"):
        as_instant(datetime(2027, 3, 26, 10, 0), "applied_at")


@pytest.mark.parametrize("value", [None, "2027-03-26", 5, True, date(2027, 3, 26)])
def test_what_is_no_datetime_is_no_instant(value: Any) -> None:
    with pytest.raises(ValueError, match=r"^saved_at is .*: give a date and time with a time zone$"):
        as_instant(value, "saved_at")


@pytest.mark.parametrize(("zone", "wall"), [(zone, wall) for zone, wall, _ in GAPS])
def test_a_moment_that_the_clocks_skip_is_refused_against_the_zone_database(zone: str, wall: str) -> None:
    skipped = datetime.fromisoformat(wall).replace(tzinfo=ZoneInfo(zone))
    with pytest.raises(LocalTimeError, match=r"^saved_at .* does not exist: the clocks skip it; that moment is "):
        as_instant(skipped, "saved_at")


@pytest.mark.parametrize(("zone", "wall", "first", "second"), FOLDS)
def test_both_readings_of_an_hour_that_happens_twice_are_instants_against_the_zone_database(
    zone: str, wall: str, first: str, second: str
) -> None:
    twice = datetime.fromisoformat(wall).replace(tzinfo=ZoneInfo(zone))
    assert [as_instant(twice.replace(fold=fold), "saved_at") for fold in (0, 1)] == [utc(first), utc(second)]


@pytest.mark.parametrize("zone", [None, "Europe/London", UTC, dateutil_tz.gettz("Europe/London")])
def test_what_is_no_zone_is_refused(zone: Any) -> None:
    """None would be taken for the zone of the computer."""
    with pytest.raises(ValueError, match=r"is not a time zone: give a ZoneInfo such as"):
        require_zone(zone)


@pytest.mark.parametrize("zone", [None, "Europe/London", UTC])
def test_no_clock_is_read_without_a_zone(zone: Any) -> None:
    with pytest.raises(ValueError, match=r"is not a time zone: give a ZoneInfo such as"):
        at_clock(date(2027, 3, 26), time(9), zone)


def test_a_moment_in_utc_stays_as_it_is() -> None:
    assert as_instant(utc("2027-03-26T10:00"), "saved_at") == utc("2027-03-26T10:00")
