"""What single fields keep, and what they say when they cannot."""

from datetime import date
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from clinic.forms.fields import BirthField, EmailLineField, LineField, NameField, YesNoField, date_order
from clinic.rules.ages import DateOrder

TODAY = date(2027, 3, 10)


def born(text: str, order: DateOrder = DateOrder.DMY) -> Any:
    return BirthField(order=order, today=TODAY).clean(text)


@pytest.mark.parametrize(
    "name",
    [
        "O'Neil",
        "D’Souza",
        "Anne-Marie",
        "van der Berg",
        "Suharto",
        "O",
        "Null",
        "陈",
        "A" * 80,
        "<b>Al</b>",
        "מרים כהן",
    ],
)
def test_every_name_is_kept_as_typed(name: str) -> None:
    """Published lists of what programmers wrongly believe about names: each of these belongs to somebody."""
    assert NameField().clean(name) == name


def test_equal_names_are_stored_equal() -> None:
    """Composed and decomposed accents (Unicode NFC), and spaces that look alike."""
    assert NameField().clean("Zoe\u0308 Bronte\u0308") == "Zo\u00eb Bront\u00eb"
    assert NameField().clean("Ana\u00a0Reis\u200b ") == "Ana Reis"


def test_direction_marks_cannot_disguise_a_name() -> None:
    assert NameField().clean("Ada\u202elliuQ") == "AdalliuQ"


@pytest.mark.parametrize("name", ["", "   ", "\u200b"])
def test_a_name_of_nothing_is_asked_for(name: str) -> None:
    with pytest.raises(ValidationError, match="required"):
        NameField().clean(name)


def test_a_null_character_is_refused_in_words() -> None:
    with pytest.raises(ValidationError, match="Null characters are not allowed"):
        NameField().clean("a\x00b")


def test_a_line_break_is_refused_where_a_line_is_wanted() -> None:
    with pytest.raises(ValidationError, match=r"U\+000A"):
        LineField().clean("one\ntwo")


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("03/04/1985", date(1985, 4, 3)),
        ("13/04/1985", date(1985, 4, 13)),
        ("1985-04-03", date(1985, 4, 3)),
        ("3.4.1985", date(1985, 4, 3)),
        ("29/02/2008", date(2008, 2, 29)),
        ("", None),
    ],
)
def test_birth_dates_where_the_day_comes_first(text: str, day: date | None) -> None:
    assert BirthField(order=DateOrder.DMY, today=TODAY, required=False).clean(text) == day


def test_birth_dates_where_the_month_comes_first() -> None:
    assert born("04/03/1985", DateOrder.MDY) == born("03/04/1985", DateOrder.DMY) == date(1985, 4, 3)


@pytest.mark.parametrize(
    "text",
    ["04/13/1985", "03/04/45", "01/01/0001", "31/12/2099", "29/02/2023", "31140", "11/03/2027", "yesterday", "1985"],
)
def test_dates_that_would_have_to_be_guessed_are_refused(text: str) -> None:
    """Two-digit years, a spreadsheet's day count, days that do not exist, tomorrow."""
    with pytest.raises(ValidationError):
        born(text)


def test_an_untouched_birth_date_saves_the_same_day_in_every_order() -> None:
    for order in (DateOrder.DMY, DateOrder.MDY):
        field = BirthField(order=order, today=TODAY)
        assert field.clean(field.prepare_value(date(1990, 5, 15))) == date(1990, 5, 15)


@pytest.mark.parametrize(("country", "order"), [("US", DateOrder.MDY), ("GB", DateOrder.DMY), ("DE", DateOrder.DMY)])
def test_the_order_is_the_countrys(country: str, order: DateOrder) -> None:
    """Unicode CLDR: short dates of en-US are M/d/y, of en-GB and de dd.MM."""
    assert date_order(country) is order


def test_an_address_with_an_unseen_character_is_refused() -> None:
    assert EmailLineField().clean(" x@example.com ") == "x@example.com"
    with pytest.raises(ValidationError, match="cannot be seen"):
        EmailLineField().clean("\u200bx@example.com")


@pytest.mark.parametrize(("word", "answer"), [("yes", True), ("no", False)])
def test_yes_and_no_are_answers(word: str, answer: bool) -> None:
    assert YesNoField().clean(word) is answer


@pytest.mark.parametrize("word", ["", None, "maybe"])
def test_no_answer_is_never_taken_for_no(word: str | None) -> None:
    with pytest.raises(ValidationError):
        YesNoField().clean(word)
