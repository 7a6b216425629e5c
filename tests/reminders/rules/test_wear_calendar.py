"""The days of a tape in squares: whole weeks from the country's own first day, each kind of day marked."""

from datetime import date, timedelta

import pytest
from babel import Locale, UnknownLocaleError

from reminders.rules.wear_calendar import DayMark, day_mark, first_weekday, weeks

WEDNESDAY = date(2027, 3, 10)
FALL_BACK = {"AO", "CV", "GW", "ST", "TL"}
"""Babel gives these Portugal's first day, since they share its language; CLDR leaves them to the world's."""


def mark(day: date, removal_day: date = date(2027, 3, 15)) -> DayMark:
    return day_mark(
        day, went_on=WEDNESDAY, opens_on=date(2027, 3, 14), closes_on=date(2027, 3, 15), removal_day=removal_day
    )


def test_each_day_is_one_thing() -> None:
    days = [mark(WEDNESDAY + timedelta(days=number)).value for number in range(7)]
    assert days == ["went_on", "worn", "worn", "worn", "may", "off", "late"]


def test_a_visit_before_the_last_day_takes_the_tape_off_then() -> None:
    assert [mark(date(2027, 3, day), date(2027, 3, 14)) for day in (14, 15)] == [DayMark.OFF, DayMark.MAY]


def test_tape_that_comes_off_the_same_day_comes_off() -> None:
    assert mark(WEDNESDAY, removal_day=WEDNESDAY) is DayMark.OFF


@pytest.mark.parametrize(("begins", "first", "count"), [(0, 8, 2), (6, 7, 2), (5, 6, 2), (2, 10, 1)])
def test_weeks_are_whole_and_begin_as_in_the_country(begins: int, first: int, count: int) -> None:
    marks = {WEDNESDAY + timedelta(days=number): DayMark.WORN for number in range(6)}
    found = weeks(marks, begins)
    assert [len(week) for week in found] == [7] * count
    assert found[0][0].day == date(2027, 3, first)
    assert [cell.day for week in found for cell in week if cell.mark] == list(marks)
    assert {week[0].day.weekday() for week in found} == {begins}


def test_the_first_day_of_the_week_against_cldr() -> None:
    """Unicode CLDR, supplemental weekData, as Babel carries it."""
    checked, differ = 0, {}
    for country in map(str, Locale("en").territories):
        try:
            theirs = Locale.parse(f"und_{country}").first_week_day
        except (UnknownLocaleError, ValueError):
            continue
        if len(country) == 2 and country not in FALL_BACK | {"ZZ"}:
            checked += 1
            if theirs != first_weekday(country):
                differ[country] = theirs
    assert differ == {}
    assert checked > 200


def test_small_letters_and_nonsense_are_no_fault() -> None:
    assert (first_weekday("us"), first_weekday(""), first_weekday("gb")) == (6, 0, 0)
