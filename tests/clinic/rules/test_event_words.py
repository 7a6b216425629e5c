"""Every kind of event has words, and stands under one heading."""

import re
from pathlib import Path

import pytest

from clinic.rules.event_words import KINDS, SEEN, WORDS, event_words, nouns_of

ROOT = Path(__file__).resolve().parents[3]


def test_every_verb_that_the_program_writes_has_words() -> None:
    written = {
        verb
        for app in ("clinic", "taping", "reminders")
        for path in (ROOT / app).rglob("*.py")
        if "bench" not in path.parts  # its databases are thrown away
        for verb in re.findall(r'verb\s?=\s?(?:"[a-z_.]+" if \w+ else )?"([a-z_]+\.[a-z_]+)"', path.read_text())
    }
    assert len(written) > 40
    assert written - set(WORDS) == set()


def test_one_with_words_is_said_in_them() -> None:
    assert {event_words(verb) for verb in WORDS} == set(WORDS.values())


def test_one_without_words_is_still_readable() -> None:
    assert event_words("visit.did_not_attend") == "Visit: did not attend"


def test_a_noun_is_under_one_heading() -> None:
    nouns = [noun for key in KINDS for noun in nouns_of(key)]
    assert len(nouns) == len(set(nouns))
    missing = {verb.partition(".")[0] for verb in set(WORDS) - SEEN} - set(nouns)
    assert missing == set()


@pytest.mark.parametrize("kind", ["seen", "nonsense"])
def test_a_heading_without_nouns(kind: str) -> None:
    assert nouns_of(kind) == frozenset()


def test_what_only_looks() -> None:
    assert {"patient.read", "sheet.printed", "patients.exported"} <= SEEN
    assert "patient.changed" not in SEEN
