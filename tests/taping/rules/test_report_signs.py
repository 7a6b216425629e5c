"""The signs as a clinician reads them in the data file."""

import re
from typing import Any

import pytest

from taping.rules.report_signs import ADVICE_STEPS, SIGN_BY_KEY, SIGNS, TapeAction, sign_from, signs_named
from taping.rules.toml_data import DataError

FIELDS = ("key", "words", "staff", "picture", "why", "source")
FIRST_PERSON = re.compile(r"\b(I|my|me|mine|you|your)\b", re.IGNORECASE)
ROW: dict[str, Any] = {**dict.fromkeys(FIELDS, "text"), "urgency": "soon", "tape": "off"}


def test_a_plain_entry_is_no_skin_change_and_brings_no_step() -> None:
    sign = sign_from(ROW)
    assert (sign.skin_change, sign.settles, sign.extra_step) == (False, False, "")


def test_patient_and_staff_each_have_their_own_words() -> None:
    sign = sign_from({**ROW, "words": "My foot hurts", "staff": "The foot hurts"})
    assert (sign.words, sign.staff_words) == ("My foot hurts", "The foot hurts")


def test_nobody_speaks_as_the_patient_to_staff() -> None:
    first_person = {sign.key for sign in SIGNS if FIRST_PERSON.search(sign.staff_words)}
    assert first_person == set()
    assert SIGN_BY_KEY["faint"].staff_words == "Has fainted, or feels about to"
    assert FIRST_PERSON.search(SIGN_BY_KEY["faint"].words)


def test_what_an_entry_says_is_kept() -> None:
    sign = sign_from({**ROW, "skin": True, "settles": True, "step": "stroke", "tape": "soak"})
    assert (sign.skin_change, sign.settles, sign.extra_step) == (True, True, "stroke")
    assert sign.tape is TapeAction.SOAK


@pytest.mark.parametrize("field", list(ROW))
def test_an_entry_without_one_of_its_fields_is_refused(field: str) -> None:
    with pytest.raises(DataError, match=f"needs a text for '{field}'"):
        sign_from({name: value for name, value in ROW.items() if name != field})


@pytest.mark.parametrize("field", ["urgency", "tape"])
def test_an_entry_with_an_unknown_word_is_refused(field: str) -> None:
    with pytest.raises(ValueError, match="'perhaps' is not a valid"):
        sign_from({**ROW, field: "perhaps"})


def test_every_step_that_a_sign_brings_exists() -> None:
    assert {sign.extra_step for sign in SIGNS} == {"", "adrenaline_pen", "stroke", "do_not_rub"}
    assert {sign.extra_step for sign in SIGNS} - {""} <= set(ADVICE_STEPS)


def test_no_key_stands_for_two_signs() -> None:
    assert len(SIGN_BY_KEY) == len(SIGNS) == 18


def test_named_signs_come_once_and_gravest_first() -> None:
    assert [sign.key for sign in signs_named({"rash", "faint"})] == ["faint", "rash"]
    assert [sign.key for sign in signs_named(key for key in ("rash", "rash"))] == ["rash"]


def test_signs_to_stop_wearing_tape_against_practitioners_pages() -> None:
    # Practitioners' pages: itch, burning, blister, rash, numbness, colour change or rising pain: take it off.
    stop = ["itching", "burning", "blister", "rash", "numbness", "cold_or_blue", "redness", "rising_pain"]
    assert [SIGN_BY_KEY[key].tape for key in stop] == ["off", "off", "soak", "off", "off_now", "off_now", "off", "off"]


def test_skin_changes_against_mcnichol() -> None:
    # McNichol and others 2013: redness, vesicle, bulla, erosion, tear. Rash, hives and pus are added from memory.
    seen = {sign.key for sign in SIGNS if sign.skin_change}
    assert seen == {"redness", "blister", "broken_skin", "rash", "hives", "fever_or_pus"}
    assert {sign.key for sign in SIGNS if sign.settles} == {"redness", "itching"}
