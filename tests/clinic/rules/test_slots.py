"""Free times of one therapist, checked against a plain search that tries every start."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz as dateutil_tz
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.rules.slots import FreeTime, Spans, free_times

LONDON = ZoneInfo("Europe/London")
NEW_YORK = ZoneInfo("America/New_York")
MONDAY = date(2027, 1, 18)
TEN_TO_TWELVE = [(time(10), time(12))]


def found(first: date = MONDAY, last: date = MONDAY, **changes: Any) -> list[FreeTime]:
    asked: dict[str, Any] = {
        "hours": {0: TEN_TO_TWELVE},
        "closures": [],
        "busy": [],
        "length_minutes": 30,
        "step_minutes": 30,
        "zone": LONDON,
    }
    return free_times(first, last, **(asked | changes))


def starts(times: list[FreeTime], zone: ZoneInfo = LONDON) -> list[str]:
    return [f"{one.starts_at.astimezone(zone):%H:%M}" for one in times]


def at(clock: str, zone: ZoneInfo = LONDON, day: date = MONDAY) -> datetime:
    return datetime.combine(day, time.fromisoformat(clock), zone)


def test_a_free_morning_is_offered_from_its_beginning_to_its_end() -> None:
    times = found()

    assert starts(times) == ["10:00", "10:30", "11:00", "11:30"]
    assert times[0] == FreeTime(at("10:00"), at("10:30"))
    assert all(one.starts_at.tzinfo is UTC and one.ends_at.tzinfo is UTC for one in times)


def test_the_usual_step_is_a_quarter_of_an_hour() -> None:
    times = free_times(
        MONDAY, MONDAY, hours={0: [(time(10), time(11))]}, closures=(), busy=(), length_minutes=30, zone=LONDON
    )

    assert starts(times) == ["10:00", "10:15", "10:30"]


def test_a_visit_that_ends_when_another_begins_fits_between() -> None:
    busy = [(at("10:30"), at("11:00")), (at("09:00"), at("10:00"))]

    assert starts(found(busy=busy)) == ["10:00", "11:00", "11:30"]


def test_one_second_too_much_takes_the_time_away() -> None:
    second = timedelta(seconds=1)

    assert starts(found(busy=[(at("10:30") - second, at("11:00") + second)])) == ["11:30"]


def test_a_microsecond_counts() -> None:
    tick = timedelta(microseconds=1)

    assert starts(found(busy=[(at("10:30") - tick, at("11:00"))])) == ["11:00", "11:30"]


def test_a_microsecond_between_two_visits_is_enough() -> None:
    tick = timedelta(microseconds=1)

    assert starts(found(busy=[(at("10:30") + tick, at("11:00") - tick)])) == ["10:00", "11:00", "11:30"]


def test_a_long_leave_is_not_forgotten_behind_short_visits_inside_it() -> None:
    leave = (at("10:00", day=MONDAY - timedelta(days=3)), at("11:00"))
    visits = [(at(f"0{hour}:00"), at(f"0{hour}:30")) for hour in range(1, 9)]

    assert starts(found(busy=[leave, *visits])) == ["11:00", "11:30"]


def test_starts_after_a_visit_keep_the_steps_of_the_span() -> None:
    assert starts(found(busy=[(at("10:00"), at("10:10"))], step_minutes=20)) == ["10:20", "10:40", "11:00", "11:20"]


def test_a_busy_time_without_length_takes_nothing() -> None:
    assert starts(found(busy=[(at("10:45"), at("10:45"))])) == ["10:00", "10:30", "11:00", "11:30"]


def test_overlapping_busy_times_in_any_order_are_one() -> None:
    busy = [(at("11:00"), at("11:10")), (at("10:00"), at("11:30")), (at("10:10"), at("10:20"))]

    assert starts(found(busy=busy)) == ["11:30"]


def test_a_visit_longer_than_the_span_is_never_offered() -> None:
    assert found(length_minutes=121) == []
    assert starts(found(length_minutes=120)) == ["10:00"]


def test_closed_days_and_days_without_hours_offer_nothing() -> None:
    times = found(MONDAY, MONDAY + timedelta(days=14), closures={MONDAY + timedelta(days=7)}, length_minutes=120)

    assert [one.starts_at for one in times] == [at("10:00"), at("10:00", day=MONDAY + timedelta(days=14))]


def test_a_day_with_an_empty_list_of_hours_offers_nothing() -> None:
    assert found(hours={0: []}) == []


def test_spans_given_out_of_order_come_out_in_order() -> None:
    assert starts(found(hours={0: [(time(14), time(15)), (time(10), time(11))]})) == [
        "10:00",
        "10:30",
        "14:00",
        "14:30",
    ]


def test_a_time_found_from_two_spans_is_offered_once() -> None:
    hours = {0: [(time(10), time(11)), (time(10, 30), time(11, 45))]}

    assert starts(found(hours=hours)) == ["10:00", "10:30", "11:00"]


def test_overlapping_spans_keep_each_its_own_steps_in_order() -> None:
    hours = {0: [(time(10), time(11, 30)), (time(10, 10), time(11, 10))]}

    assert starts(found(hours=hours)) == ["10:00", "10:10", "10:30", "10:40", "11:00"]


def test_a_visit_does_not_reach_over_the_join_of_two_spans() -> None:
    hours = {0: [(time(10), time(11)), (time(11), time(12))]}

    assert starts(found(hours=hours, length_minutes=45)) == ["10:00", "11:00"]


def test_hours_may_end_at_midnight() -> None:
    assert starts(found(hours={0: [(time(23), time(0))]})) == ["23:00", "23:30"]


def test_a_span_open_to_midnight_and_one_inside_it_are_put_in_order() -> None:
    hours = {0: [(time(22), time(0)), (time(22, 10), time(22, 50))]}

    assert starts(found(hours=hours)) == ["22:00", "22:10", "22:30", "23:00", "23:30"]


def test_hours_from_midnight_to_midnight_are_the_whole_day() -> None:
    assert len(found(hours={0: [(time(0), time(0))]})) == 48


# IANA time zone database: London's clocks skip 01:00 to 02:00 on 28 March 2027 and repeat it on 31 October.
def test_on_a_short_night_the_skipped_hour_is_not_offered_against_iana() -> None:
    day = date(2027, 3, 28)

    times = found(day, day, hours={6: [(time(0), time(3))]})

    assert starts(times) == ["00:00", "00:30", "02:00", "02:30"]


def test_on_a_long_night_the_repeated_hour_is_offered_twice_against_iana() -> None:
    day = date(2027, 10, 31)

    times = found(day, day, hours={6: [(time(0), time(3))]})

    assert starts(times) == ["00:00", "00:30", "01:00", "01:30", "01:00", "01:30", "02:00", "02:30"]
    assert {one.ends_at - one.starts_at for one in times} == {timedelta(minutes=30)}


def test_a_span_that_begins_in_the_gap_begins_after_it_against_iana() -> None:
    day = date(2026, 3, 8)

    times = found(day, day, hours={6: [(time(2, 30), time(4))]}, zone=NEW_YORK)

    assert [one.starts_at for one in times] == [
        datetime(2026, 3, 8, 7, 0, tzinfo=UTC),
        datetime(2026, 3, 8, 7, 30, tzinfo=UTC),
    ]


def test_a_span_that_lies_in_the_gap_offers_nothing_against_iana() -> None:
    day = date(2026, 3, 8)

    assert found(day, day, hours={6: [(time(2, 10), time(2, 50))]}, zone=NEW_YORK) == []


def test_nine_in_the_morning_stays_so_over_both_changes_against_iana() -> None:
    hours = {weekday: [(time(9), time(9, 30))] for weekday in range(7)}

    spring = found(date(2027, 3, 27), date(2027, 3, 29), hours=hours)
    autumn = found(date(2027, 10, 30), date(2027, 11, 1), hours=hours)

    assert [one.starts_at.hour for one in spring + autumn] == [9, 8, 8, 8, 9, 9]


def test_busy_times_may_carry_any_zone() -> None:
    assert starts(found(busy=[(at("05:00", NEW_YORK), at("06:30", NEW_YORK))])) == ["11:30"]


@pytest.mark.parametrize("name", ["length_minutes", "step_minutes"])
@pytest.mark.parametrize("value", [0, -15, 7.5, True, "15", None])
def test_minutes_that_are_none_are_refused_by_name(name: str, value: Any) -> None:
    with pytest.raises(ValueError, match=f"^{name} is a positive whole number of minutes, not {value!r}$"):
        found(**{name: value})


def test_a_step_of_one_minute_is_a_step() -> None:
    assert len(found(step_minutes=1)) == 91


def test_a_last_day_before_the_first_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^the last day 2027-01-17 lies before the first 2027-01-18$"):
        found(MONDAY, MONDAY - timedelta(days=1))


@pytest.mark.parametrize("ends", [(at("10:00"), MONDAY), (MONDAY, at("10:00"))])
def test_datetimes_are_no_days(ends: tuple[date, date]) -> None:
    with pytest.raises(ValueError, match="between two dates, not datetimes"):
        found(*ends)


@pytest.mark.parametrize("pair", [(datetime(2027, 1, 18, 10), at("11:00")), (at("10:00"), datetime(2027, 1, 18, 11))])
def test_a_busy_time_without_a_zone_is_refused(pair: tuple[datetime, datetime]) -> None:
    with pytest.raises(
        ValueError, match=r"^a busy time is 2027-01-18 1[01]:00:00: give a date and time with a time zone"
    ):
        found(busy=[pair])


def test_a_busy_time_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(
        ValueError, match=r"a busy time ends before it begins: 2027-01-18 11:00:00\+00:00 to 2027-01-18 10"
    ):
        found(busy=[(at("11:00"), at("10:00"))])


@pytest.mark.parametrize("weekday", [-1, 7, "mon"])
def test_a_weekday_that_is_none_is_refused(weekday: object) -> None:
    with pytest.raises(ValueError, match=f"^{weekday!r} is no weekday: Monday is 0, Sunday 6$"):
        found(hours={weekday: TEN_TO_TWELVE})


@pytest.mark.parametrize("closes", ["10:00", "09:59"])
def test_hours_that_end_before_they_begin_are_refused(closes: str) -> None:
    with pytest.raises(ValueError, match=f"^hours from 10:00 to {closes} end before they begin$"):
        found(hours={0: [(time(10), time.fromisoformat(closes))]})


@pytest.mark.parametrize("span", [(time(10, tzinfo=UTC), time(12)), (time(10), time(12, tzinfo=UTC))])
def test_hours_with_a_zone_of_their_own_are_refused(span: tuple[time, time]) -> None:
    with pytest.raises(ValueError, match="opening hours are plain clock times"):
        found(hours={0: [span]})


def plain_search(
    first: date, last: date, hours: Mapping[int, Spans], busy: list[tuple[datetime, datetime]], grid: tuple[int, int]
) -> list[FreeTime]:
    """Try every start of every span, on dateutil's calendar instead of the standard library's."""
    zone, length, step = dateutil_tz.gettz("Europe/London"), timedelta(minutes=grid[0]), timedelta(minutes=grid[1])
    free = set()
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        for opens, closes in hours.get(day.weekday(), ()):
            start = datetime.combine(day, opens, zone).astimezone(UTC)
            end = datetime.combine(day, closes, zone).astimezone(UTC)
            while start + length <= end:
                if all(start >= taken or start + length <= begins for begins, taken in busy if begins < taken):
                    free.add(FreeTime(start, start + length))
                start += step
    return sorted(free)


# from two in the morning on: clock times that London shows exactly once on every day
clocks = st.integers(8, 94).map(lambda quarter: time(quarter // 4, quarter % 4 * 15))
spans = st.tuples(clocks, clocks).filter(lambda span: span[0] < span[1])
minutes = st.integers(0, 60 * 24 * 4)


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from([date(2027, 3, 26), date(2027, 10, 29), date(2027, 6, 1)]),
    st.dictionaries(st.integers(0, 6), st.lists(spans, max_size=3), max_size=7),
    st.lists(st.tuples(minutes, st.integers(0, 300)), max_size=12),
    st.tuples(st.integers(1, 120), st.integers(1, 60)),
)
def test_every_free_time_and_no_other_is_found_against_a_plain_search(
    first: date, hours: dict[int, Spans], taken: list[tuple[int, int]], grid: tuple[int, int]
) -> None:
    base, last = datetime.combine(first, time(0), UTC), first + timedelta(days=3)
    busy = [(b := base + timedelta(minutes=begin), b + timedelta(minutes=length)) for begin, length in taken]

    times = found(first, last, hours=hours, busy=busy, length_minutes=grid[0], step_minutes=grid[1])

    assert times == plain_search(first, last, hours, busy, grid)


@pytest.mark.parametrize("zone", [None, "Europe/London", UTC])
def test_a_zone_that_is_none_is_refused_even_where_nothing_is_open(zone: Any) -> None:
    """None would mean the zone of the computer."""
    with pytest.raises(ValueError, match=r"is not a time zone: give a ZoneInfo"):
        found(MONDAY, MONDAY, hours={}, zone=zone)


@pytest.mark.parametrize("days", [("2027-01-18", "2027-01-19"), (None, None), (MONDAY, "2027-01-19")])
def test_days_that_are_no_dates_are_refused(days: Any) -> None:
    with pytest.raises(ValueError, match=r"between two dates, not datetimes or other things: (None|'2027-01-1[89]')"):
        found(*days)


@pytest.mark.parametrize("weekday", [True, 1.0])
def test_a_weekday_that_only_looks_like_a_number_of_one_is_refused(weekday: Any) -> None:
    with pytest.raises(ValueError, match=f"{weekday!r} is no weekday: Monday is 0, Sunday 6"):
        found(MONDAY, MONDAY, hours={weekday: [(time(8), time(9))]})


@pytest.mark.parametrize("span", [("08:00", time(9)), (time(8), "09:00"), (None, None)])
def test_hours_that_are_no_clock_times_are_refused(span: Any) -> None:
    with pytest.raises(ValueError, match=r"pairs of clock times such as time\(8, 0\), not "):
        found(MONDAY, MONDAY, hours={0: [span]})


@pytest.mark.parametrize("busy_at", ["2027-01-18T10:00:00Z", None, MONDAY])
def test_a_busy_time_that_is_no_time_is_refused(busy_at: Any) -> None:
    with pytest.raises(ValueError, match=r"^a busy time is .*: give a date and time with a time zone"):
        found(MONDAY, MONDAY, busy=[(busy_at, busy_at)])
