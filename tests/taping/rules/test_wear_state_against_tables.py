"""The state of a tape around midnights and clock changes, against the tz database and dateutil."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.wear import wear_window
from taping.rules.wear_state import TapeState, WornTape, tape_state

# Zone, taped (UTC), moment (UTC), state; usual numbers, removal day = last day of the window.
# Midnights from the IANA tz database, read with zoneinfo.
AROUND_MIDNIGHT = [
    # Taped Thursday 12 March 2026, so day 5 is the 17th; New York is on summer time since the 8th.
    ("America/New_York", "2026-03-12T15:00", "2026-03-17T03:59", "on"),
    ("America/New_York", "2026-03-12T15:00", "2026-03-17T04:00", "due"),
    ("America/New_York", "2026-03-12T15:00", "2026-03-18T03:59", "due"),
    ("America/New_York", "2026-03-12T15:00", "2026-03-18T04:00", "overdue"),
    # Taped Friday the 6th, before the change: midnight of day 5, the 11th, moved from 05:00 to 04:00 UTC.
    ("America/New_York", "2026-03-06T15:00", "2026-03-11T03:59", "on"),
    ("America/New_York", "2026-03-06T15:00", "2026-03-11T04:00", "due"),
    ("America/New_York", "2026-03-06T15:00", "2026-03-12T04:00", "overdue"),
    # Taped 30 October, the clocks go back on 1 November: midnight of the 4th is 05:00 UTC.
    ("America/New_York", "2026-10-30T14:00", "2026-11-04T04:59", "on"),
    ("America/New_York", "2026-10-30T14:00", "2026-11-04T05:00", "due"),
    ("America/New_York", "2026-10-30T14:00", "2026-11-05T04:59", "due"),
    ("America/New_York", "2026-10-30T14:00", "2026-11-05T05:00", "overdue"),
    # Half an hour on Lord Howe: taped 3 April 10:00, back on the 5th; midnight of the 8th is 13:30 UTC.
    ("Australia/Lord_Howe", "2026-04-02T23:00", "2026-04-07T13:29", "on"),
    ("Australia/Lord_Howe", "2026-04-02T23:00", "2026-04-07T13:30", "due"),
    ("Australia/Lord_Howe", "2026-04-02T23:00", "2026-04-08T13:30", "overdue"),
    # Santiago leaves midnight out on 6 September, which is day 5: the day begins at 01:00, 04:00 UTC.
    ("America/Santiago", "2026-09-01T15:00", "2026-09-06T03:59", "on"),
    ("America/Santiago", "2026-09-01T15:00", "2026-09-06T04:00", "due"),
    ("America/Santiago", "2026-09-01T15:00", "2026-09-07T02:59", "due"),
    ("America/Santiago", "2026-09-01T15:00", "2026-09-07T03:00", "overdue"),
    # Santiago's 4 April 2026, day 5, has 25 hours.
    ("America/Santiago", "2026-03-30T15:00", "2026-04-04T02:59", "on"),
    ("America/Santiago", "2026-03-30T15:00", "2026-04-04T03:00", "due"),
    ("America/Santiago", "2026-03-30T15:00", "2026-04-05T03:59", "due"),
    ("America/Santiago", "2026-03-30T15:00", "2026-04-05T04:00", "overdue"),
    # Chatham, a quarter to: taped 1 April 10:00 (+13:45), back on the 5th; midnight of the 6th is 11:15 UTC.
    ("Pacific/Chatham", "2026-03-31T20:15", "2026-04-05T11:14", "on"),
    ("Pacific/Chatham", "2026-03-31T20:15", "2026-04-05T11:15", "due"),
    ("Pacific/Chatham", "2026-03-31T20:15", "2026-04-06T11:15", "overdue"),
    # St John's, half past: taped 6 March 10:00, forward on the 8th; midnight of the 11th is 02:30 UTC.
    ("America/St_Johns", "2026-03-06T13:30", "2026-03-11T02:29", "on"),
    ("America/St_Johns", "2026-03-06T13:30", "2026-03-11T02:30", "due"),
    ("America/St_Johns", "2026-03-06T13:30", "2026-03-12T02:30", "overdue"),
    # Kolkata changes nothing: midnight is 18:30 UTC.
    ("Asia/Kolkata", "2026-03-06T04:30", "2026-03-10T18:29", "on"),
    ("Asia/Kolkata", "2026-03-06T04:30", "2026-03-10T18:30", "due"),
    ("Asia/Kolkata", "2026-03-06T04:30", "2026-03-11T18:30", "overdue"),
    # Auckland: a list "of today" made in UTC showed the wrong day (django/django pull request 18660).
    ("Pacific/Auckland", "2027-01-09T19:00", "2027-01-14T10:59", "on"),
    ("Pacific/Auckland", "2027-01-09T19:00", "2027-01-14T11:00", "due"),
    ("Pacific/Auckland", "2027-01-09T19:00", "2027-01-15T10:59", "due"),
    ("Pacific/Auckland", "2027-01-09T19:00", "2027-01-15T11:00", "overdue"),
]
ZONES = sorted({row[0] for row in AROUND_MIDNIGHT})
moments = st.datetimes(datetime(2000, 1, 1), datetime(2036, 12, 1)).map(lambda at: at.replace(fold=0, tzinfo=UTC))


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(("zone", "applied", "now", "state"), AROUND_MIDNIGHT)
def test_a_state_against_the_tz_database(zone: str, applied: str, now: str, state: str) -> None:
    window = wear_window(utc(applied), ZoneInfo(zone))
    tape = WornTape(utc(applied), 20, window, window.closes_on)
    assert tape_state(utc(now), tape, ZoneInfo(zone)) == state
    # What the moment is written in makes no difference.
    assert tape_state(utc(now).astimezone(ZoneInfo("America/Los_Angeles")), tape, ZoneInfo(zone)) == state


def expected(at: datetime, tape: WornTape, today: date) -> TapeState:
    if at - tape.applied_at < timedelta(minutes=tape.adhesion_minutes):
        return TapeState.SETTING
    if today < tape.removal_day:
        return TapeState.ON
    return TapeState.DUE if today <= tape.window.closes_on else TapeState.OVERDUE


@settings(deadline=None)
@given(moments, st.sampled_from(ZONES), st.integers(0, 5), st.integers(0, 9 * 24 * 60))
def test_states_against_dateutil(applied_at: datetime, zone: str, days: int, minutes: int) -> None:
    window = wear_window(applied_at, ZoneInfo(zone))
    tape = WornTape(applied_at, 20, window, window.applied_on + timedelta(days=days))
    at = applied_at + timedelta(minutes=minutes)
    today = at.astimezone(tz.gettz(zone)).date()
    assert tape_state(at, tape, ZoneInfo(zone)) is expected(at, tape, today)


@settings(deadline=None)
@given(moments, st.sampled_from(ZONES), st.lists(st.integers(0, 9 * 24 * 60), min_size=2, max_size=6))
def test_a_state_never_goes_back_while_time_goes_on(applied_at: datetime, zone: str, minutes: list[int]) -> None:
    window = wear_window(applied_at, ZoneInfo(zone))
    tape = WornTape(applied_at, 20, window, window.opens_on)
    states = [tape_state(applied_at + timedelta(minutes=n), tape, ZoneInfo(zone)) for n in sorted(minutes)]
    order = list(TapeState)
    assert [order.index(state) for state in states] == sorted(order.index(state) for state in states)
