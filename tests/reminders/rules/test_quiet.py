"""Quiet hours, checked minute by minute against the zone database."""

from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz as dateutil_tz
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.rules.quiet import Moved, check_quiet_hours, is_quiet, out_of_quiet

LONDON, NEW_YORK, SANTIAGO = ZoneInfo("Europe/London"), ZoneInfo("America/New_York"), ZoneInfo("America/Santiago")
NINE, EIGHT = time(21), time(8)
MINUTE = timedelta(minutes=1)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def moved(due: str, **limits: str) -> Moved:
    """Move within the usual quiet hours in London in winter, where the clock shows UTC."""
    bounds = {name: utc(f"2027-01-{text}") for name, text in limits.items()}
    return out_of_quiet(utc(f"2027-01-{due}"), LONDON, NINE, EIGHT, **bounds)


@pytest.mark.parametrize("due", ["15T20:59", "15T08:00", "15T12:00"])
def test_a_message_due_in_the_day_goes_at_once(due: str) -> None:
    assert moved(due) == Moved(utc(f"2027-01-{due}"), None)


@pytest.mark.parametrize(
    ("due", "goes"),
    [
        ("15T21:00", "16T08:00"),
        ("15T23:30", "16T08:00"),
        ("16T00:30", "16T08:00"),
        ("16T07:59", "16T08:00"),
    ],
)
def test_a_message_due_at_night_waits_for_the_morning(due: str, goes: str) -> None:
    assert moved(due) == Moved(utc(f"2027-01-{goes}"), f"moved from {due[3:]} to 08:00: quiet hours")


def test_what_moved_a_message_is_said_in_words() -> None:
    assert moved("15T06:40").reason == "moved from 06:40 to 08:00: quiet hours"


def test_a_message_that_cannot_wait_goes_a_quarter_of_an_hour_before_the_quiet_hours() -> None:
    assert moved("15T22:30", not_after="16T00:00") == Moved(
        utc("2027-01-15T20:45"), "moved from 22:30 to 20:45: quiet hours, useless from 00:00"
    )


def test_the_end_of_use_is_exclusive_to_the_minute() -> None:
    assert moved("16T06:00", not_after="16T08:00").at == utc("2027-01-15T20:45")
    assert moved("16T06:00", not_after="16T08:01").at == utc("2027-01-16T08:00")


def test_a_message_that_may_neither_wait_nor_go_early_does_not_go() -> None:
    assert moved("15T22:30", not_after="16T00:00", not_before="15T20:46") == Moved(
        None, "22:30 is in quiet hours and nothing is left before 00:00, when it is useless"
    )


def test_going_early_may_reach_exactly_back_to_the_earliest_moment() -> None:
    assert moved("15T22:30", not_after="16T00:00", not_before="15T20:45").at == utc("2027-01-15T20:45")


def test_a_message_is_held_until_its_earliest_moment() -> None:
    assert moved("15T11:00", not_before="15T13:00") == Moved(
        utc("2027-01-15T13:00"), "moved from 11:00 to 13:00: not before then"
    )
    assert moved("15T13:00", not_before="15T13:00") == Moved(utc("2027-01-15T13:00"), None)


def test_a_held_message_waits_for_the_morning_too() -> None:
    assert moved("15T20:00", not_before="15T21:30") == Moved(
        utc("2027-01-16T08:00"), "moved from 20:00 to 08:00: quiet hours"
    )


@pytest.mark.parametrize("limits", [{"not_after": "15T12:00"}, {"not_after": "15T13:00", "not_before": "15T13:00"}])
def test_a_message_due_when_it_is_useless_does_not_go(limits: dict[str, str]) -> None:
    end = limits["not_after"][3:]

    assert moved("15T12:00", **limits) == Moved(None, f"too late at {end}: useless from {end}")


def test_a_message_just_before_its_end_of_use_goes() -> None:
    assert moved("15T11:59", not_after="15T12:00") == Moved(utc("2027-01-15T11:59"), None)


def test_an_unmoved_message_keeps_its_own_time_and_zone() -> None:
    due = datetime(2026, 11, 1, 12, 0, tzinfo=NEW_YORK)

    assert out_of_quiet(due, NEW_YORK, NINE, EIGHT).at is due


def test_quiet_hours_may_lie_inside_one_day() -> None:
    midday, two = time(12), time(14)

    assert out_of_quiet(utc("2027-01-15T12:00"), LONDON, midday, two).at == utc("2027-01-15T14:00")
    assert out_of_quiet(utc("2027-01-15T14:00"), LONDON, midday, two).at == utc("2027-01-15T14:00")
    assert out_of_quiet(utc("2027-01-15T11:59"), LONDON, midday, two).at == utc("2027-01-15T11:59")
    assert out_of_quiet(utc("2027-01-15T13:00"), LONDON, midday, two, utc("2027-01-15T13:30")).at == utc(
        "2027-01-15T11:45"
    )


def test_no_gap_between_two_nights_is_left_to_go_early_in() -> None:
    five_past = time(8, 5)

    assert out_of_quiet(utc("2027-01-15T08:30"), LONDON, five_past, EIGHT, utc("2027-01-15T09:00")).at is None


# 47 CFR 64.1200(c)(1): from 8 a.m. to 9 p.m. by the clock of the person called; instants by the IANA database.
@pytest.mark.parametrize(
    ("zone", "at", "quiet"),
    [
        ("America/New_York", "2026-03-07T12:59", True),
        ("America/New_York", "2026-03-07T13:00", False),
        ("America/New_York", "2026-03-08T12:00", False),
        ("America/New_York", "2026-03-09T00:59", False),
        ("America/New_York", "2026-03-09T01:00", True),
        ("Asia/Kolkata", "2026-05-01T02:29", True),
        ("Asia/Kolkata", "2026-05-01T02:30", False),
        ("Australia/Lord_Howe", "2026-04-04T21:00", True),
        ("Australia/Lord_Howe", "2026-04-05T21:29", True),
        ("Australia/Lord_Howe", "2026-04-05T21:30", False),
    ],
)
def test_nobody_is_texted_at_night_against_cfr_and_iana(zone: str, at: str, quiet: bool) -> None:
    due = utc(at)

    assert is_quiet(due, ZoneInfo(zone), NINE, EIGHT) is quiet
    assert (out_of_quiet(due, ZoneInfo(zone), NINE, EIGHT).at == due) is not quiet


# IANA time zone database: in Santiago midnight is missing on 6 September 2026, and 23:00 comes twice on 4 April.
def test_quiet_hours_that_end_at_a_missing_midnight_end_at_one_against_iana() -> None:
    goes = out_of_quiet(utc("2026-09-06T02:00"), SANTIAGO, NINE, time(0))

    assert goes == Moved(utc("2026-09-06T04:00"), "moved from 22:00 to 01:00: quiet hours")


def test_quiet_hours_that_begin_at_a_missing_midnight_begin_at_one_against_iana() -> None:
    goes = out_of_quiet(utc("2026-09-06T06:00"), SANTIAGO, time(0), EIGHT, utc("2026-09-06T07:00"))

    assert goes.at == utc("2026-09-06T03:45")


def test_the_second_reading_of_a_quiet_hour_is_quiet_too_against_iana() -> None:
    one, half_past = time(1), time(1, 30)

    assert out_of_quiet(utc("2026-11-01T05:10"), NEW_YORK, one, half_past).at == utc("2026-11-01T05:30")
    assert out_of_quiet(utc("2026-11-01T06:10"), NEW_YORK, one, half_past).at == utc("2026-11-01T06:30")


def test_a_night_over_a_clock_change_ends_by_the_clock_against_iana() -> None:
    spring = out_of_quiet(utc("2026-03-08T04:00"), NEW_YORK, NINE, EIGHT)
    autumn = out_of_quiet(utc("2026-11-01T04:00"), NEW_YORK, NINE, EIGHT)

    assert (spring.at, autumn.at) == (utc("2026-03-08T12:00"), utc("2026-11-01T13:00"))


def test_equal_ends_are_refused_because_they_mean_all_day_or_never() -> None:
    with pytest.raises(
        ValueError, match=r"cannot begin and end at the same time \(21:00\): choose two different times"
    ):
        out_of_quiet(utc("2027-01-15T12:00"), LONDON, NINE, NINE)


@pytest.mark.parametrize("ends", [(time(21, tzinfo=UTC), EIGHT), (NINE, time(8, tzinfo=UTC))])
def test_ends_with_a_zone_of_their_own_are_refused(ends: tuple[time, time]) -> None:
    with pytest.raises(ValueError, match="plain clock times"):
        check_quiet_hours(*ends)


@pytest.mark.parametrize("name", ["due_at", "not_after", "not_before"])
def test_a_naive_time_is_refused_by_name(name: str) -> None:
    times = {"due_at": utc("2027-01-15T12:00"), "not_after": utc("2027-01-16T12:00")}
    times |= {name: datetime(2027, 1, 15, 12)}

    with pytest.raises(ValueError, match=f"^{name} needs a time zone"):
        out_of_quiet(zone=LONDON, quiet_from=NINE, quiet_until=EIGHT, **times)


def test_a_naive_time_is_never_called_quiet() -> None:
    with pytest.raises(ValueError, match=r"^at needs a time zone"):
        is_quiet(datetime(2027, 1, 15, 12), LONDON, NINE, EIGHT)


def stepped(
    due: datetime, zone: str, ends: tuple[time, time], limit: datetime | None, floor: datetime | None
) -> object:
    """Walk minute by minute on dateutil's clock until a minute is not quiet."""
    clock_of = dateutil_tz.gettz(zone)

    def quiet(at: datetime) -> bool:
        clock = at.astimezone(clock_of).time()
        inside = ends[0] <= clock < ends[1]
        return inside if ends[0] < ends[1] else clock >= ends[0] or clock < ends[1]

    start = due if floor is None else max(due, floor)
    if limit is not None and start >= limit:
        return None
    end = start
    while quiet(end):
        end += MINUTE
    if limit is None or end < limit:
        return end
    begin = start
    while quiet(begin - MINUTE):
        begin -= MINUTE
    early = begin - 15 * MINUTE
    return None if quiet(early) or (floor is not None and early < floor) else early


# Nights with a change of clocks (IANA time zone database), and one without.
NIGHTS = [
    ("America/New_York", "2026-03-08T00:00"),
    ("America/New_York", "2026-11-01T00:00"),
    ("Europe/London", "2027-03-27T18:00"),
    ("Europe/London", "2027-10-30T18:00"),
    ("Australia/Lord_Howe", "2026-04-04T08:00"),
    ("Australia/Lord_Howe", "2026-10-03T08:00"),
    ("America/Santiago", "2026-04-04T20:00"),
    ("America/Santiago", "2026-09-05T20:00"),
    ("Pacific/Chatham", "2026-09-26T04:00"),
    ("America/St_Johns", "2026-11-01T00:00"),
    ("Asia/Kathmandu", "2026-06-01T12:00"),
]
quarters = st.integers(0, 95).map(lambda quarter: time(quarter // 4, quarter % 4 * 15))
some_minutes = st.none() | st.integers(-600, 1500)


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from(NIGHTS),
    st.integers(0, 24 * 60),
    st.tuples(quarters, quarters).filter(lambda ends: ends[0] != ends[1]),
    some_minutes,
    some_minutes,
)
def test_every_message_goes_where_a_walk_by_the_minute_leads_against_dateutil(
    night: tuple[str, str], minute: int, ends: tuple[time, time], until: int | None, after: int | None
) -> None:
    zone, due = night[0], utc(night[1]) + minute * MINUTE
    limit = None if until is None else due + until * MINUTE
    floor = None if after is None else due + after * MINUTE

    goes = out_of_quiet(due, ZoneInfo(zone), *ends, not_after=limit, not_before=floor)

    assert goes.at == stepped(due, zone, ends, limit, floor)
    assert (goes.reason is None) is (goes.at == due)


@pytest.mark.parametrize("zone", [None, "Europe/London", UTC])
def test_quiet_hours_of_no_zone_are_refused(zone: Any) -> None:
    """None would mean the quiet hours of the computer."""
    with pytest.raises(ValueError, match=r"is not a time zone: give a ZoneInfo such as"):
        out_of_quiet(utc("2027-01-15T23:00"), zone, NINE, EIGHT)


@pytest.mark.parametrize("ends", [("21:00", EIGHT), (NINE, "08:00"), (None, EIGHT), (21, 8)])
def test_ends_that_are_no_clock_times_are_refused(ends: Any) -> None:
    with pytest.raises(ValueError, match=r"begin and end at clock times such as time\(21, 0\), not at "):
        check_quiet_hours(*ends)


@pytest.mark.parametrize("name", ["due_at", "not_after", "not_before"])
def test_a_time_that_the_clocks_skip_is_refused(name: str) -> None:
    # IANA time zone database: New York's clocks skip 02:00 to 03:00 on 14 March 2027.
    times = {"due_at": utc("2027-03-14T12:00"), name: datetime(2027, 3, 14, 2, 30, tzinfo=NEW_YORK)}
    with pytest.raises(ValueError, match=f"^{name} .* does not exist: the clocks skip it"):
        out_of_quiet(zone=NEW_YORK, quiet_from=NINE, quiet_until=EIGHT, **times)


def test_a_reason_about_two_days_names_them() -> None:
    """ "Too late at 15:00: useless from 21:00" would leave a therapist guessing."""
    late = moved("18T15:00", not_after="17T21:00")
    held = moved("15T10:00", not_before="18T15:00")

    assert late.reason == "too late at Mon 18 Jan 15:00: useless from Sun 17 Jan 21:00"
    assert held.reason == "moved from Fri 15 Jan 10:00 to Mon 18 Jan 15:00: not before then"


@pytest.mark.parametrize(
    ("not_before", "reason"),
    [
        ("15T22:00", "moved from 10:00 to 08:00: quiet hours"),
        ("16T22:00", "moved from Fri 15 Jan 10:00 to Sun 17 Jan 08:00: quiet hours"),
    ],
)
def test_a_night_names_no_days_and_two_nights_do(not_before: str, reason: str) -> None:
    assert moved("15T10:00", not_before=not_before).reason == reason
