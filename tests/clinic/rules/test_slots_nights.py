"""Free times in nights with a clock change, checked minute by minute on dateutil's clock."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz as dateutil_tz
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.rules.slots import FreeTime, free_times

MINUTE = timedelta(minutes=1)

# Nights with a change of clocks (IANA time zone database), and clock times shown exactly once in them.
NIGHTS = {
    ("Europe/London", "2027-03-28"): ["00:00", "00:30", "02:00", "03:10", "05:00"],
    ("Europe/London", "2027-10-31"): ["00:00", "00:45", "02:00", "03:10", "05:00"],
    ("America/New_York", "2026-03-08"): ["00:10", "01:30", "03:00", "04:20"],
    ("America/New_York", "2026-11-01"): ["00:10", "00:30", "02:00", "04:20"],
    ("Australia/Lord_Howe", "2026-04-05"): ["00:00", "01:00", "02:00", "03:00"],
    ("Australia/Lord_Howe", "2026-10-04"): ["00:00", "01:45", "02:30", "03:00"],
    ("America/Santiago", "2026-09-06"): ["01:00", "02:00", "04:40"],
}


def walked(zone: str, day: date, span: tuple[time, time], busy: set[datetime], grid: tuple[int, int]) -> list[FreeTime]:
    """Collect the open minutes of the day by the clock on the wall, and count free times along them."""
    clocks = dateutil_tz.gettz(zone)
    first = datetime.combine(day, time(0), UTC) - timedelta(hours=15)
    minutes = [first + number * MINUTE for number in range(60 * 60)]
    inside = [at for at in minutes if at.astimezone(clocks).date() == day]
    opened = [at for at in inside if span[0] <= at.astimezone(clocks).time() < span[1]]
    usable = set(opened) - busy
    length, step = grid
    return [
        FreeTime(start, start + length * MINUTE)
        for start in opened[::step]
        if all(start + number * MINUTE in usable for number in range(length))
    ]


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(sorted(NIGHTS)).flatmap(
        lambda night: st.tuples(
            st.just(night), st.lists(st.sampled_from(NIGHTS[night]), min_size=2, max_size=2, unique=True)
        )
    ),
    st.tuples(st.integers(5, 90), st.integers(5, 60)),
    st.integers(-30, 500),
    st.integers(0, 90),
)
def test_every_night_offers_what_its_minutes_allow_against_dateutil(
    night: tuple[tuple[str, str], list[str]], grid: tuple[int, int], after: int, length: int
) -> None:
    (zone, text), clocks = night
    day, span = date.fromisoformat(text), tuple(time.fromisoformat(clock) for clock in sorted(clocks))
    begins = datetime.combine(day, time(1), dateutil_tz.gettz(zone)).astimezone(UTC) + after * MINUTE
    busy = {begins + number * MINUTE for number in range(length)}

    found = free_times(
        day,
        day,
        hours={day.weekday(): [(span[0], span[1])]},
        closures=[],
        busy=[(begins, begins + length * MINUTE)],
        length_minutes=grid[0],
        step_minutes=grid[1],
        zone=ZoneInfo(zone),
    )

    assert found == walked(zone, day, (span[0], span[1]), busy, grid)


# IANA time zone database: how many hours these days have.
@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/London", "2027-03-28", 23),
        ("Europe/London", "2027-03-29", 24),
        ("Europe/London", "2027-10-31", 25),
        ("America/Santiago", "2026-04-04", 25),
        ("America/Santiago", "2026-09-06", 23),
        ("Asia/Kathmandu", "2027-03-28", 24),
    ],
)
def test_a_whole_day_has_as_many_hours_as_its_clocks_show_against_iana(zone: str, day: str, hours: int) -> None:
    on = date.fromisoformat(day)

    found = free_times(
        on,
        on,
        hours={on.weekday(): [(time(0), time(0))]},
        closures=[],
        busy=[],
        length_minutes=60,
        step_minutes=60,
        zone=ZoneInfo(zone),
    )

    assert len(found) == hours
    assert found == sorted(set(found))
