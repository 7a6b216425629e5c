"""Strips on record, in words. The ranges are worked out by hand from the cutting formula."""

import pytest

from taping.templatetags.worn_words import tension_words
from tests.factories import StripFactory


@pytest.mark.parametrize(
    ("given", "words"),
    [
        # zone 200 mm of 160 mm relaxed: 195/160 and 205/160 are stretches of 21.9 and 28.1 %, of 40 % 55 and 70 %
        ({}, "tension 55 to 70 % of what this tape can give"),
        # a roll that gives 50 %: the same stretches are 44 and 56 %
        ({"share": 0.5}, "tension 44 to 56 % of what this tape can give"),
        # no stretch: 195/200 is loose, which is no tension; 205/200 is 2.5 %, of 40 % 6 %
        ({"stretch": 0.0, "share": 0.0}, "tension 0 to 6 % of what this tape can give"),
        # loose by a tenth: even 205 over 222 mm relaxed stays loose
        ({"stretch": -0.1, "share": -0.25}, "loose tape"),
    ],
)
def test_tension_is_told_as_the_range_of_a_hand_measured_span(given: dict[str, float], words: str) -> None:
    assert tension_words(StripFactory.build(plan=None, **given)) == words
