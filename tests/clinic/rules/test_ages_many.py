"""Ages and dates of birth over many years, counted a second way."""

from datetime import date, timedelta

import pytest
from dateutil.parser import isoparse
from dateutil.relativedelta import relativedelta
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clinic.rules.ages import DateOrder, UnreadableDateError, age_on, fitting_orders, is_minor, parse_date

days = st.dates(date(1900, 1, 1), date(2099, 12, 31))
TODAY = date(2027, 1, 15)


def birthdays(born: date, until: date) -> int:
    """Count the birthdays after birth up to `until`, one by one; 1 March stands for a missing 29 February."""
    leap_day = (born.month, born.day) == (2, 29)
    count = 0
    for year in range(born.year + 1, until.year + 1):
        missing = leap_day and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0))
        count += (date(year, 3, 1) if missing else date(year, born.month, born.day)) <= until
    return count


# Gregorian calendar: years that divide by 4 are leap years, by 100 not, by 400 again.
@settings(deadline=None)
@given(days, days)
def test_an_age_is_the_number_of_birthdays_against_the_calendar(born: date, day: date) -> None:
    assume(born <= day)

    assert age_on(born, day) == birthdays(born, day)


@settings(deadline=None)
@given(st.integers(1904, 2020).filter(lambda year: year % 4 == 0), days)
def test_leap_day_children_are_a_day_later_than_dateutil_says_against_dateutil(year: int, day: date) -> None:
    born = date(year, 2, 29)
    assume(born <= day)
    theirs = relativedelta(day, born).years

    last_of_february = (day.month, day.day) == (2, 28) and (day + timedelta(days=1)).month == 3
    assert age_on(born, day) == theirs - (last_of_february and theirs > 0)


@settings(deadline=None)
@given(days, st.integers(1, 30))
def test_a_minor_comes_of_age_on_one_day_only(born: date, adult_at: int) -> None:
    around = born + relativedelta(years=adult_at)
    window = [around + timedelta(days=offset) for offset in range(-3, 4)]
    minor = [is_minor(born, day, adult_at) for day in window]

    assert minor == sorted(minor, reverse=True)
    assert minor[0]
    assert not minor[-1]


@settings(deadline=None)
@given(st.dates(date(1900, 1, 1), TODAY), st.sampled_from(list(DateOrder)))
def test_an_iso_date_is_read_alike_in_every_order_against_dateutil(day: date, order: DateOrder) -> None:
    assert parse_date(day.isoformat(), order, latest=TODAY) == isoparse(day.isoformat()).date()


@settings(deadline=None)
@given(st.text("0123456789/-. ", max_size=12), st.sampled_from(list(DateOrder)))
def test_nothing_typed_breaks_the_reading_or_leaves_the_bounds(text: str, order: DateOrder) -> None:
    try:
        day = parse_date(text, order, latest=TODAY)
    except UnreadableDateError:
        return
    assert date(1900, 1, 1) <= day <= TODAY
    assert f"{day.year:04}" in text


@settings(deadline=None)
@given(st.lists(st.dates(date(1900, 1, 1), TODAY), min_size=1, max_size=5))
def test_a_column_always_fits_the_order_it_was_written_in(column: list[date]) -> None:
    written = [f"{day.day}/{day.month}/{day.year}" for day in column]

    fits = fitting_orders(written, latest=TODAY)

    assert DateOrder.DMY in fits
    assert any(day.day > 12 for day in column) <= (DateOrder.MDY not in fits)


@pytest.mark.parametrize("order", list(DateOrder))
def test_every_order_is_named_as_it_is_written(order: DateOrder) -> None:
    assert order.value == order.name.lower()
