"""When a record cannot be erased, and what to do first."""

from itertools import product

import pytest

from reminders.rules.erasing import refusals

WORDS = {
    "on_skin": "End the tape",
    "reports_open": "closes it first",
    "visits_ahead": "cancel it first",
    "lists_open": "write it or drop it",
}


@pytest.mark.parametrize("open_", list(product((0, 2), repeat=4)))
def test_each_thing_that_is_open_is_said_once(open_: tuple[int, ...]) -> None:
    counts = dict(zip(WORDS, open_, strict=True))
    said = refusals(**counts)
    assert len(said) == sum(count > 0 for count in open_)
    for name, words in WORDS.items():
        assert any(words in line for line in said) is bool(counts[name])
