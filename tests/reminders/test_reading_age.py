"""English texts for patients can be read by an eleven-year-old.

By the Flesch-Kincaid grade level (Kincaid, Fishburne, Rogers and Chissom 1975, Derivation of new readability formulas
for Navy enlisted personnel, Research Branch Report 8-75, from memory): 0.39 words a sentence + 11.8 syllables a word
- 15.59. A grade plus five is the age in years (common practice, no source). Syllables are counted by groups of vowels.
"""

import re
from datetime import datetime

import pytest

from clinic.models import Clinic
from reminders.catalogue import sentences
from reminders.rules.texts import TEXTS
from taping.rules.hold import HOLD_WORDS
from taping.rules.removal import RAW_STEPS, USUAL_STEPS, WORN_CARE
from taping.rules.report_signs import ADVICE_STEPS, SIGNS
from tests.reminders.services.test_rendering import KINDS, message, said

OLDEST = 11.0  # years


def syllables(word: str) -> int:
    """Groups of vowels, a silent e at the end and a silent "ed" left out; at least one."""
    word = re.sub(r"[^a-z]", "", word.lower())
    word = re.sub(r"(?:[^laeiouy]es|[^td]ed|[^l]e)$", lambda found: found.group()[:1], word)
    return max(1, len(re.findall(r"[aeiouy]+", word)))


def reading_age(text: str) -> float:
    """In years. A line, a full stop, a colon or a semicolon ends a sentence: what stands apart is read apart."""
    parts = [re.findall(r"[A-Za-z]+(?:['-][A-Za-z]+)*", part) for part in re.split(r"[.!?:;\n]+", text)]
    read = [part for part in parts if part]
    words = [word for part in read for word in part]
    grade = 0.39 * len(words) / len(read) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
    return grade + 5


@pytest.mark.parametrize(
    ("word", "count"),
    [
        ("tape", 1), ("taped", 1), ("please", 1), ("skin", 1), ("needed", 2), ("little", 2), ("removal", 3),
        ("emergency", 4), ("adrenaline", 4), ("reminders", 3), ("minutes", 2), ("edges", 1), ("the", 1), ("you", 1),
        ("itches", 1), ("away", 2),
    ],
)  # fmt: skip
def test_syllables_are_counted_nearly_as_spoken(word: str, count: int) -> None:
    """ "edges" and "itches" have two as spoken: the count is no dictionary, and errs by a few in a hundred."""
    assert syllables(word) == count


def test_the_formula_against_its_definition() -> None:
    """Ten words of one syllable in two sentences: 0.39 x 5 + 11.8 - 15.59, and five years."""
    assert reading_age("We take the tape off. Call us now at once.") == pytest.approx(0.39 * 5 + 11.8 - 15.59 + 5)


def test_a_hard_text_is_found_hard() -> None:
    hard = "Discontinuation of adhesive applications necessitates precautionary communication with professionals."
    assert reading_age(hard) > OLDEST


@pytest.mark.django_db
@pytest.mark.parametrize("kind", KINDS)
def test_each_mail_can_be_read_at_eleven(clinic: Clinic, now: datetime, kind: str) -> None:
    text = said(message(kind, now), clinic, now, "email").text
    body = text.partition("\n\n")[2]  # without the clinic's name and number
    assert reading_age(re.sub(r"https?://\S+", "", body)) <= OLDEST


def test_all_that_messages_and_pages_can_say_can_be_read_at_eleven() -> None:
    everything = [one if isinstance(one, str) else one[1] for one in sentences()]
    assert reading_age("\n".join(re.sub(r"\{\w+\}", "it", one) for one in everything)) <= OLDEST


@pytest.mark.parametrize("kind", sorted({text.kind for text in TEXTS.values()}))
def test_each_kind_s_sentences_can_be_read_at_eleven(kind: str) -> None:
    own = [re.sub(r"\{\w+\}", "it", text.one) for text in TEXTS.values() if text.kind == kind]
    assert reading_age("\n".join(own)) <= OLDEST


@pytest.mark.parametrize(
    "lines",
    [
        [step.text for step in (*USUAL_STEPS, *RAW_STEPS, *WORN_CARE)],
        [step.text for step in ADVICE_STEPS.values()],
        [sign.words for sign in SIGNS],
        [line for words in HOLD_WORDS.values() for line in (words.what, words.advice)],
    ],
    ids=["removal", "advice", "signs", "held"],
)
def test_the_steps_can_be_read_at_eleven(lines: list[str]) -> None:
    assert reading_age("\n".join(lines)) <= OLDEST
