"""Dates of birth as people write them, and ages."""

from datetime import date

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clinic.rules.ages import (
    DateOrder,
    UnreadableDateError,
    age_on,
    fitting_orders,
    is_minor,
    parse_date,
    parse_worded_date,
)

TODAY = date(2027, 1, 15)
DMY, MDY, YMD = DateOrder.DMY, DateOrder.MDY, DateOrder.YMD


def refusal(text: str, order: DateOrder = DMY) -> str:
    with pytest.raises(UnreadableDateError) as refused:
        parse_date(text, order, latest=TODAY)
    return str(refused.value)


# Decided here: born on 29 February means 1 March in common years.
@pytest.mark.parametrize(
    ("day", "age"),
    [(date(2026, 2, 28), 17), (date(2026, 3, 1), 18), (date(2027, 2, 28), 18), (date(2028, 2, 29), 20)],
)
def test_a_leap_day_birthday_comes_on_the_first_of_march(day: date, age: int) -> None:
    assert age_on(date(2008, 2, 29), day) == age


@settings(deadline=None)
@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.dates(date(1900, 1, 1), date(2100, 1, 1)))
def test_ages_are_the_same_against_dateutil(born: date, day: date) -> None:
    assume(born <= day and (born.month, born.day) != (2, 29))

    assert age_on(born, day) == relativedelta(day, born).years


def test_who_is_born_today_is_nought() -> None:
    assert age_on(TODAY, TODAY) == 0


def test_nobody_is_born_after_the_day_asked_about() -> None:
    with pytest.raises(ValueError, match="born on 2027-01-16, after 2027-01-15"):
        age_on(date(2027, 1, 16), TODAY)


def test_a_minor_is_one_until_the_eighteenth_birthday() -> None:
    born = date(2009, 1, 15)

    assert is_minor(born, date(2027, 1, 14))
    assert not is_minor(born, TODAY)


def test_a_clinic_may_draw_the_line_elsewhere() -> None:
    assert is_minor(date(2009, 1, 15), TODAY, adult_at=19)


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("03/04/1985", DMY, date(1985, 4, 3)),
        ("03/04/1985", MDY, date(1985, 3, 4)),
        ("13/04/1985", DMY, date(1985, 4, 13)),
        ("04/13/1985", MDY, date(1985, 4, 13)),
        ("1985-04-03", DMY, date(1985, 4, 3)),
        ("1985-04-03", MDY, date(1985, 4, 3)),
        ("1985/4/3", YMD, date(1985, 4, 3)),
        ("3.4.1985", DMY, date(1985, 4, 3)),
        (" 3 4\u00a01985 ", DMY, date(1985, 4, 3)),
        ("\uff10\uff13/\uff10\uff14/\uff11\uff19\uff18\uff15", DMY, date(1985, 4, 3)),
        ("29/02/2024", DMY, date(2024, 2, 29)),
        ("01/01/1900", DMY, date(1900, 1, 1)),
        ("15/01/2027", DMY, TODAY),
    ],
)
def test_a_date_is_read_in_the_declared_order(text: str, order: DateOrder, day: date) -> None:
    assert parse_date(text, order, latest=TODAY) == day


@settings(deadline=None)
@given(st.dates(date(1900, 1, 1), TODAY), st.sampled_from(["-", "/", ".", " "]))
def test_reading_is_the_reverse_of_writing_against_isoformat(day: date, sign: str) -> None:
    written = day.isoformat().replace("-", sign)
    year, month, number = written.split(sign)

    assert parse_date(written, DMY, latest=TODAY) == day
    assert parse_date(sign.join((number, month, year)), DMY, latest=TODAY) == day
    assert parse_date(sign.join((month, number, year)), MDY, latest=TODAY) == day


@pytest.mark.parametrize("text", ["31412", "36585", "60", "25569.0", "19850403", "31412,5"])
def test_a_bare_number_is_never_a_date(text: str) -> None:
    assert refusal(text) == (
        f"{text} is a bare number and may be a spreadsheet's count of days: write the date as 03/04/1985"
    )


@pytest.mark.parametrize(
    ("text", "order", "example"),
    [
        ("03/04/45", DMY, "03/04/1985"),
        ("03/04/985", DMY, "03/04/1985"),
        ("03/04/45", MDY, "04/03/1985"),
        ("45-04-03", YMD, "1985-04-03"),
        ("1985/04/0003", DMY, "03/04/1985"),
        ("123/04/1985", DMY, "03/04/1985"),
        ("1985/04/123", DMY, "03/04/1985"),
    ],
)
def test_a_year_of_fewer_than_four_digits_is_never_guessed(text: str, order: DateOrder, example: str) -> None:
    assert refusal(text, order) == f"{text} needs a year of four digits: write all four, like {example}"


def test_a_year_that_stands_last_where_it_should_stand_first_is_said() -> None:
    assert refusal("03/04/1985", YMD) == "03/04/1985 does not begin with its year: write it like 1985-04-03"


@pytest.mark.parametrize("text", ["", "soon", "3/4", "03/04-1985", "3 April 1985", "1985-04-03T10:00"])
def test_what_is_no_date_is_refused_with_an_example(text: str) -> None:
    assert refusal(text) == f"{text!r} is not a date: write it like 03/04/1985"


def test_a_day_that_does_not_exist_is_refused_as_it_was_read() -> None:
    assert refusal("29/02/2023") == (
        "29/02/2023 does not exist (read as year 2023, month 2, day 29): write it like 03/04/1985"
    )
    assert refusal("04/13/1985").startswith("04/13/1985 does not exist (read as year 1985, month 13, day 4)")


@pytest.mark.parametrize("text", ["01/01/0001", "31/12/2099", "16/01/2027", "31/12/1899"])
def test_a_birth_outside_the_bounds_is_refused(text: str) -> None:
    assert refusal(text) == f"{text} is not between 1900-01-01 and 2027-01-15"


def test_the_bounds_are_the_callers() -> None:
    assert parse_date("31/12/1899", DMY, latest=TODAY, earliest=date(1899, 12, 31)) == date(1899, 12, 31)


def test_a_column_that_fits_one_order_needs_no_question() -> None:
    assert fitting_orders(["03/04/1985", "13/04/1985"], latest=TODAY) == (DMY,)


def test_a_column_that_fits_several_orders_leaves_the_choice() -> None:
    assert fitting_orders(iter(["03/04/1985", "05/06/1990"]), latest=TODAY) == (DMY, MDY)


def test_a_column_of_iso_dates_fits_every_order() -> None:
    assert fitting_orders(["1985-04-03"], latest=TODAY) == (DMY, MDY, YMD)


def test_a_column_with_one_impossible_date_fits_none() -> None:
    assert fitting_orders(["1985-04-03", "29/02/2023"], latest=TODAY) == ()


def test_bounds_count_when_a_column_is_judged() -> None:
    assert fitting_orders(["02/01/1999"], latest=TODAY, earliest=date(1999, 1, 15)) == (MDY,)
    assert fitting_orders(["02/01/1999"], latest=date(1999, 1, 15)) == (DMY,)


@pytest.mark.parametrize(
    "text", ["12 August 1946", "12 Aug 1946", "12 aug. 1946", "August 12, 1946", "AUGUST 12 1946", " 12  August,1946 "]
)
def test_a_date_with_the_month_s_name_is_read(text: str) -> None:
    assert parse_worded_date(text, latest=date(2027, 3, 10)) == date(1946, 8, 12)


@pytest.mark.parametrize(
    "text",
    ["31 June 1946", "12 August 46", "12 Au 1946", "12 Augustus 1946", "August 1946", "12 Brumaire 1946", "",
     "12 August 1846", "12 August 2027", "12 08 1946"],
)  # fmt: skip
def test_anything_else_is_no_worded_date(text: str) -> None:
    assert parse_worded_date(text, latest=date(2027, 3, 10)) is None
