"""Removal days for any calendar of closures, against the plain definition."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.wear import RemovalOptions, removal_options, wear_window

LONDON = ZoneInfo("Europe/London")
DAY = timedelta(days=1)


def open_on(weekdays: str, closed: str = "") -> Callable[[date], bool]:
    """A clinic open on these weekdays (Monday 1) and closed on these days of 2027, written ``03-29``."""
    shut = {date.fromisoformat(f"2027-{day}") for day in closed.split()}
    return lambda day: str(day.isoweekday()) in weekdays and day not in shut


# Bank holidays of England 2027: 26 and 29 March, 27 and 28 December (gov.uk/bank-holidays; Python package holidays).
CALENDARS = [
    # taped, open weekdays, closed; visit days, day at home, last open day before
    ("03-22", "12345", "03-26 03-29", "", "03-27", "03-25"),
    ("03-23", "12345", "03-26 03-29", "", "03-28", "03-25"),
    ("03-24", "12345", "03-26 03-29", "", "03-29", "03-25"),
    ("03-25", "12345", "03-26 03-29", "03-30", "03-30", None),
    ("03-26", "123456", "03-29", "03-30 03-31", "03-31", None),
    ("03-29", "12345", "", "04-02", "04-03", None),
    ("12-20", "12345", "12-27 12-28", "12-24", "12-25", None),
    ("12-21", "12345", "12-27 12-28", "", "12-26", "12-24"),
    ("12-22", "12345", "12-27 12-28", "", "12-27", "12-24"),
    ("12-23", "12345", "12-27 12-28", "", "12-28", "12-24"),
    ("12-24", "12345", "12-27 12-28", "12-29", "12-29", None),
    ("06-01", "2", "", "", "06-06", None),
    ("06-02", "2", "", "", "06-07", None),
    ("06-03", "2", "", "06-08", "06-08", None),
    ("06-04", "2", "", "06-08", "06-09", None),
    ("06-05", "1", "", "", "06-10", "06-07"),
    ("06-06", "", "", "", "06-11", None),
]


@pytest.mark.parametrize(("taped", "weekdays", "closed", "visits", "home", "before"), CALENDARS)
def test_removal_days_against_the_bank_holidays_of_england(
    taped: str, weekdays: str, closed: str, visits: str, home: str, before: str | None
) -> None:
    window = wear_window(datetime.fromisoformat(f"2027-{taped}T12:00").replace(tzinfo=LONDON), LONDON)
    options = removal_options(window, open_on(weekdays, closed))
    assert [f"{day:%m-%d}" for day in options.visit_days] == visits.split()
    assert f"{options.home_day:%m-%d}" == home
    assert (options.last_open_before and f"{options.last_open_before:%m-%d}") == before


@settings(deadline=None)
@given(
    st.dates(date(2000, 1, 1), date(2036, 12, 1)),
    st.tuples(st.integers(1, 7), st.integers(1, 7)).map(sorted),
    st.sets(st.integers(-3, 12)),
)
def test_removal_days_against_their_plain_definition(applied_on: date, days: list[int], closed: set[int]) -> None:
    noon = datetime(applied_on.year, applied_on.month, applied_on.day, 12, tzinfo=LONDON)
    window = wear_window(noon, LONDON, *days)
    options = removal_options(window, lambda day: (day - applied_on).days not in closed)
    open_days = [n for n in range(1, 8) if n not in closed]
    inside = [n for n in open_days if days[0] <= n <= days[1]]
    earlier = [n for n in open_days if n < days[0]]
    before = applied_on + earlier[-1] * DAY if earlier and not inside else None
    expected = RemovalOptions(
        tuple(applied_on + n * DAY for n in inside), applied_on + days[1] * DAY, before, options.reasons
    )
    assert options == expected
    assert len(options.reasons) == (2 if inside else 3)


@settings(deadline=None)
@given(st.sets(st.integers(0, 12)))
def test_no_removal_day_is_ever_after_the_window_or_on_the_day_of_the_tape(closed: set[int]) -> None:
    noon = datetime(2027, 3, 26, 12, tzinfo=LONDON)
    window = wear_window(noon, LONDON)
    options = removal_options(window, lambda day: (day - window.applied_on).days not in closed)
    offered = [*options.visit_days, options.home_day]
    if options.last_open_before is not None:
        offered.append(options.last_open_before)
    assert all(window.applied_on < day <= window.closes_on for day in offered)
