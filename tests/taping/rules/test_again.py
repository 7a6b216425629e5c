"""What is told before last time's plan is used: only what really differs."""

from dataclasses import replace

import pytest

from taping.rules.again import ClinicNumbers, StripThen, number_differences, strip_differences
from taping.rules.lengths import Unit
from taping.rules.tape import Tape

SAME = StripThen(1, 286.0, 286.0, "Blue, lot 1", "Blue, lot 1", Tape(pre_stretch=0.08, limit=0.45))
NUMBERS = ClinicNumbers(20, 60, 5)


def test_nothing_changed_tells_nothing() -> None:
    assert strip_differences(SAME, Unit.CM) == ()
    assert number_differences(NUMBERS, NUMBERS, shortened=False) == ()


def test_roll_measured_since_tells_both_lengths_and_its_numbers() -> None:
    assert strip_differences(replace(SAME, paper_now_mm=271.2), Unit.CM) == (
        "Strip 1: cut 27.1 cm now, 28.6 cm last time, for the same span and tension. This tape is reckoned with 8 % on "
        "its backing, 45 % at the most.",
    )


def test_difference_that_no_ruler_shows_is_none() -> None:
    assert strip_differences(replace(SAME, paper_now_mm=286.3), Unit.CM) == ()


@pytest.mark.parametrize(
    ("now", "words"),
    [
        ("Red, lot 2", "Strip 1: Blue, lot 1 is put away; reckoned with Red, lot 2 now."),
        (
            "",
            "Strip 1: Blue, lot 1 is put away; reckoned with the rough numbers of a roll that was never measured now.",
        ),
    ],
)
def test_roll_put_away_is_told(now: str, words: str) -> None:
    assert strip_differences(replace(SAME, roll_now=now), Unit.CM) == (words,)


def test_rules_changed_since_are_told() -> None:
    assert number_differences(NUMBERS, ClinicNumbers(30, 90, 4), shortened=False) == (
        "Wait before easy movement: 30 minutes now, 20 last time.",
        "Wait before sweat and water: 90 minutes now, 60 last time.",
        "Last day on the skin: day 4 now, day 5 last time.",
    )


def test_last_day_of_a_shortened_wear_says_nothing_about_the_rule() -> None:
    assert number_differences(ClinicNumbers(20, 60, 2), NUMBERS, shortened=True) == ()
