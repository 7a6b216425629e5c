"""A clinic's own words: what may stand in a sentence, what must, what is refused, and who has to have read it."""

import pytest

from clinic.rules.tongue import ENGLISH, LANGUAGES, tongue_of
from reminders.rules.kinds import MessageKind
from reminders.rules.own_words import (
    EDITED,
    LONGEST,
    PLACEHOLDERS,
    PRIVATE,
    ReadBy,
    changes_between,
    needed_in,
    offered_in,
    one_line,
    reading_of,
    slots_of,
    wrong_with,
)
from reminders.rules.texts import SHARED, TEXTS, Speech

OFF = TEXTS["aftercare.sms.off"]
ON = TEXTS["aftercare.sms.on"]


def names(found: tuple[object, ...]) -> list[str]:
    return [str(getattr(one, "name", one)) for one in found]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_program_s_own_words_pass_what_a_clinic_s_are_held_to(language: str) -> None:
    tongue = tongue_of(language)
    wrong = {
        (text.key, number): found
        for text in TEXTS.values()
        if not text.locked
        for number, words in text.forms(tongue)
        if (found := wrong_with(text, one_line(words)))
    }
    assert wrong == {}


def test_every_kind_for_patients_has_a_page_and_so_have_the_shared_sentences() -> None:
    assert [*EDITED] == [*(kind.value for kind in MessageKind if not kind.is_for_staff), SHARED]
    assert {text.kind for text in TEXTS.values()} == set(EDITED)


def test_no_placeholder_is_private() -> None:
    assert PRIVATE & set(PLACEHOLDERS) == set()


def test_words_with_the_same_facts_are_fine() -> None:
    assert wrong_with(OFF, "It comes off on {off_day}, {by_words}. Questions: {telephone}") == ()
    assert wrong_with(ON, "Welcome to {clinic_name}. {Tape} sits at {place}.") == ()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "Write the sentence, or go back to the program's own words."),
        ("Off on {off_day}.", "{by_words} is missing: who takes it off"),
        ("Off some day, {by_words}.", "{off_day} is missing: the day it comes off, written out. Patients need it."),
        ("Off on {off_day}, {by_words}, {surname}.", "{surname} goes into no message: others may read it."),
        ("Off on {off_day}, {by_words}: {Diagnosis}.", "{diagnosis} goes into no message: others may read it."),
        ("Off on {off_day}, {by_words}, {colour}.", "{colour} is not known in this sentence. Known are {off_day}, "),
        ("Off on {off_day}, {by_words}, {visit_when}.", "{visit_when} is not known in this sentence."),
        ("Off on {off_day}, {by_words} {.", "A { or } stands where no placeholder is."),
        ("Off on {{off_day}}, {by_words}.", "A { or } stands where no placeholder is."),
        ("Off on {off_day}, {by_words} {tape.pk}.", "A { or } stands where no placeholder is."),
        ("Off on {off_day}, {by_words} { place }.", "A { or } stands where no placeholder is."),
        ("Off on {off_day}, {by_words}. {% now %}", "A { or } stands where no placeholder is."),
    ],
)
def test_what_cannot_be_said_is_refused_in_words(words: str, said: str) -> None:
    found = wrong_with(OFF, words)
    assert len(found) == 1
    assert found[0].startswith(said)


def test_every_fault_is_said_at_once() -> None:
    assert len(wrong_with(OFF, "{name} } {colour}")) == 5


@pytest.mark.parametrize("key", [text.key for text in TEXTS.values() if text.locked])
def test_a_locked_sentence_takes_no_words_not_even_its_own(key: str) -> None:
    said = ("This sentence keeps people safe. It cannot be changed.",)
    assert (wrong_with(TEXTS[key], TEXTS[key].one), wrong_with(TEXTS[key], "")) == (said, said)


@pytest.mark.parametrize("key", ["aftercare.sms.on", "aftercare.subject.next_days", "aftercare.mail.on"])
def test_a_sentence_has_an_end(key: str) -> None:
    text = TEXTS[key]
    room = LONGEST[text.part]
    assert wrong_with(text, "x" * room) == ()
    assert wrong_with(text, "x" * (room + 1)) == (
        f"{room + 1} characters are too long for one sentence: at most {room} fit.",
    )


def test_a_capital_names_the_same_placeholder() -> None:
    assert wrong_with(OFF, "{Off_day}: off, {BY_WORDS}.") == ()


@pytest.mark.parametrize(
    ("key", "needed", "offered"),
    [
        ("aftercare.sms.on", [], ["tape", "place", "telephone", "emergency", "clinic_name"]),
        ("aftercare.sms.move", ["move_from"], ["move_from", "telephone", "emergency", "clinic_name", "tape", "place"]),
        ("removal_day.subject.off", ["off_when"], ["tape", "off_when", "telephone", "clinic_name"]),
        ("visit_booked.subject.when", ["visit_when"], ["visit", "visit_when", "telephone", "clinic_name"]),
        ("letter.mail.hello", [], ["hello", "telephone", "emergency", "clinic_name"]),
        ("letter.sms.stop_link", ["stop_link"], ["stop_link", "telephone", "emergency", "clinic_name"]),
        ("stop_confirmed.sms.no_more", [], ["telephone", "emergency", "clinic_name"]),
        ("visit_changed.sms.short", ["visit_when"], ["visit_when", "telephone", "emergency", "clinic_name", "visit"]),
    ],
)
def test_what_a_sentence_needs_and_may_have(key: str, needed: list[str], offered: list[str]) -> None:
    assert names(needed_in(TEXTS[key])) == needed
    assert names(offered_in(TEXTS[key])) == offered


def test_no_subject_of_a_mail_names_a_place_on_the_body() -> None:
    subjects = [text for text in TEXTS.values() if text.part == "subject"]
    assert [text.key for text in subjects if {"place", "where"} & set(names(offered_in(text)))] == []


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("  Two\r\nlines \t and\u00a0more ", "Two lines and more"),
        ("turned \u202earound", "turned around"),
        ("cafe\u0301", "café"),
        ("it\u2019s fine", "it\u2019s fine"),
        (" \n ", ""),
    ],
)
def test_words_are_kept_as_one_line_of_what_can_be_seen(typed: str, kept: str) -> None:
    assert one_line(typed) == kept


def test_the_sentences_of_a_kind_come_form_by_form() -> None:
    slots = slots_of("exercise_ok", ENGLISH, {"exercise_ok.sms.short#1": "Set."})
    assert [(slot.key, slot.number, slot.highest) for slot in slots][:3] == [
        ("exercise_ok.sms.set#1", 1, 2),
        ("exercise_ok.sms.set#2", 2, 2),
        ("exercise_ok.sms.short#1", 1, 1),
    ]
    assert (slots[2].own, slots[2].words, slots[0].own, slots[0].words) == ("Set.", "Set.", "", slots[0].programs)


def test_words_stored_for_a_locked_sentence_are_not_shown_as_the_clinic_s() -> None:
    slots = slots_of("skin_check", ENGLISH, {"skin_check.sms.cold#1": "Nothing to fear."})
    assert [slot.own for slot in slots] == [""] * len(slots)


def test_what_typed_words_change() -> None:
    slots = slots_of("exercise_ok", ENGLISH, {"exercise_ok.sms.short#1": "Set."})
    programs = {slot.key: slot.programs for slot in slots}
    assert changes_between(slots, {}) == {}
    assert changes_between(slots, {"exercise_ok.sms.short#1": "Set."}) == {}
    assert changes_between(slots, programs) == {"exercise_ok.sms.short#1": ""}
    new = {"exercise_ok.sms.short#1": "It has set.", "exercise_ok.sms.water#1": "Water from {water_from}."}
    assert changes_between(slots, new) == new


def test_a_space_that_looks_the_same_changes_nothing() -> None:
    for language in LANGUAGES:
        for kind in EDITED:
            slots = slots_of(kind, tongue_of(language), {})
            assert changes_between(slots, {slot.key: one_line(slot.programs) for slot in slots}) == {}


KEY = "aftercare.sms.on#1"


@pytest.mark.parametrize(
    ("words", "is_on", "language", "programs", "by"),
    [
        ("New.", True, "en", (), ReadBy.SOMEBODY),
        ("New.", True, "de", (KEY,), ReadBy.SOMEBODY),
        ("New.", False, "de", (), ReadBy.LANGUAGE_OFF),
        ("", False, "de", (), ReadBy.LANGUAGE_OFF),
        ("", True, "en", (), ReadBy.WAS_READ),
        ("", True, "de", (KEY,), ReadBy.WAS_READ),
        ("", True, "de", (), ReadBy.SOMEBODY),
    ],
)
def test_who_has_to_have_read_new_words(
    words: str, is_on: bool, language: str, programs: tuple[str, ...], by: ReadBy
) -> None:
    """Nobody where the language is off, or where the way back leads to what was approved."""
    assert reading_of(KEY, words, is_on=is_on, tongue=tongue_of(language), programs_approved=programs) is by


def test_kept_words_with_a_placeholder_that_is_gone_give_way_to_the_program_s() -> None:
    """An update of the program may fill in less than it did; the message still has to go."""
    own = {"visit_booked.mail.when#1": "See you in {room}: {visit_when}."}
    values = {"visit": "your visit", "visit_when": "Monday"}
    assert Speech(ENGLISH, own).say("visit_booked.mail.when", 1, values) == "Your visit is booked: Monday."
