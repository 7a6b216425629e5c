"""Places, days and lists as patients read them. Weekdays are checked against the standard library's calendar."""

import calendar
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reminders.rules.words import (
    all_of,
    day_words,
    direction_of,
    every_place,
    near_day_words,
    numbers_in,
    place_words,
    places_together,
    shortened,
    year_day_words,
)

DAY = date(2027, 3, 10)


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)))
def test_a_day_is_written_out_in_full(day: date) -> None:
    name = calendar.day_name[calendar.weekday(day.year, day.month, day.day)]
    assert day_words(day) == f"{name}, {day.day} {calendar.month_name[day.month]}"
    assert year_day_words(day) == f"{day.day} {calendar.month_name[day.month]} {day.year}"


@pytest.mark.parametrize(
    ("days", "words"),
    [(0, "today"), (1, "tomorrow"), (-1, "on Tuesday, 9 March"), (2, "on Friday, 12 March")],
)
def test_near_days_are_called_by_what_they_are(days: int, words: str) -> None:
    assert near_day_words(DAY + timedelta(days=days), DAY) == words


@pytest.mark.parametrize(
    ("region", "side", "words"),
    [
        ("knee", "left", "left knee"),
        ("lower_back", "midline", "lower back"),
        ("thigh_front", "right", "front of the right thigh"),
    ],
)
def test_a_place(region: str, side: str, words: str) -> None:
    assert place_words(region, side) == words


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ([("knee", "left")], "left knee"),
        ([("knee", "left"), ("knee", "right")], "left and right knee"),
        ([("elbow", "left"), ("lower_back", "midline")], "left elbow and lower back"),
        ([("knee", "left"), ("elbow", "right"), ("knee", "right")], "left and right knee and right elbow"),
        ([("knee", "left"), ("knee", "left")], "left knee"),
        ([("neck", "midline"), ("neck", "left")], "neck and left side of the neck"),
        ([("thigh_front", "left"), ("thigh_front", "right")], "front of the left and right thigh"),
        ([("old_region", "left"), ("old_region", "right")], "left and right old region"),
        ([], ""),
    ],
)
def test_several_places_in_one_breath(places: list[tuple[str, str]], words: str) -> None:
    assert places_together(places) == words


@pytest.mark.parametrize(
    ("words", "said"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_lists(words: list[str], said: str) -> None:
    assert all_of(words) == said


@pytest.mark.parametrize(
    ("text", "most", "short"),
    [
        ("Harbour Lane Clinic", 40, "Harbour Lane Clinic"),
        ("Harbour Lane Clinic", 19, "Harbour Lane Clinic"),
        ("Harbour Lane Clinic", 18, "Harbour Lane"),
        ("Harbour, Lane", 9, "Harbour"),
        ("Harbour", 4, "Harb"),
        ("  Harbour \n Lane ", 40, "Harbour Lane"),
    ],
)
def test_a_long_name_is_cut_after_a_whole_word(text: str, most: int, short: str) -> None:
    assert shortened(text, most) == short


@given(st.text(), st.integers(1, 60))
def test_what_is_cut_is_never_longer_than_asked(text: str, most: int) -> None:
    assert len(shortened(text, most)) <= most


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("Outside opening hours call (212) 555-0101.", ["2125550101"]),
        ("Call +44 20 7946 0123 or 116 117", ["+442079460123", "116117"]),
        ("When closed call 111.", ["111"]),
        ("Open 8.00-18.00, closed 2027-03-15; ward 12, floor 3", []),
        ("Nothing to dial", []),
        ("", []),
    ],
)
def test_telephone_numbers_in_a_text(text: str, numbers: list[str]) -> None:
    pieces = numbers_in(text)
    assert "".join(words for words, _ in pieces) == text
    assert [dial for _, dial in pieces if dial] == numbers


def test_every_place_is_named_alone_and_both_sides_together() -> None:
    named = every_place()
    assert {"left knee", "right knee", "left and right knee", "lower back", "front of the left and right thigh"} <= set(
        named
    )
    assert len(named) == len(set(named))


@pytest.mark.parametrize(
    ("text", "runs"),
    [
        ("Call (212) 555-0101", "ltr"),
        ("خارج الدوام: 555-0101", "rtl"),
        ("(212) 555-0101, خارج", "rtl"),
        ("\u05de\u05e8\u05d9\u05dd", "rtl"),
        ("(212) 555-0101", "ltr"),
        ("", "ltr"),
    ],
)
def test_a_text_runs_as_its_first_letter_does(text: str, runs: str) -> None:
    """Unicode Annex 9, P2 and P3; without a letter the page's usual direction."""
    assert direction_of(text) == runs
