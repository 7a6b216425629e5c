"""The sentences of messages: keys, forms, and a clinic's own words in their place."""

import pytest

from clinic.rules.tongue import ENGLISH, holes_in, tongue_of
from reminders.rules.kinds import MessageKind
from reminders.rules.texts import MAIL, PAGE, SHARED, SMS, SUBJECT, TEXTS, Speech, edit_key, text_from, texts_from
from taping.rules.toml_data import DataError

ROW = {"key": "aftercare.sms.on", "when": "first", "text": "{Tape} on.", "source": "none"}


def test_every_sentence_belongs_to_a_kind_and_a_part() -> None:
    kinds = {kind.value for kind in MessageKind if not kind.is_for_staff} | {SHARED}
    assert {text.kind for text in TEXTS.values()} == kinds
    assert {text.part for text in TEXTS.values()} == {SMS, SUBJECT, MAIL, PAGE}


def test_one_and_several_have_the_same_placeholders() -> None:
    assert [one.key for one in TEXTS.values() if one.many and set(holes_in(one.one)) != set(holes_in(one.many))] == []


SAFE = (
    "emergency", "cold", "raw", "how", "blister", "earlier", "watch", "worn", "signs", "removes", "still_on",
    "helper_you",
)  # fmt: skip


@pytest.mark.parametrize("part", SAFE)
def test_what_keeps_people_safe_is_locked(part: str) -> None:
    """Emergency first, blisters, removal, who takes it off; the announcement of a visit's purpose is no such thing."""
    found = [text for text in TEXTS.values() if text.key.split(".")[2].startswith(part)]
    assert found
    free = {"letter.mail.removes", "letter.sms.removes"}
    assert [text.key for text in found if not text.locked and text.key not in free] == []


@pytest.mark.parametrize("key", ["aftercare", "aftercare.sms", "aftercare.fax.on", "a.sms.b.c"])
def test_a_key_that_is_none_is_refused(key: str) -> None:
    with pytest.raises(DataError, match="is no key of a sentence"):
        text_from({**ROW, "key": key})


def test_a_key_twice_is_refused() -> None:
    with pytest.raises(DataError, match="a key twice"):
        texts_from([ROW, ROW])


def test_the_forms_of_a_sentence() -> None:
    assert TEXTS["aftercare.sms.on_short"].forms(ENGLISH) == ((1, "Tape on."),)
    assert TEXTS["visit_booked.mail.when"].forms(ENGLISH) == (
        (1, "{Visit} is booked: {visit_when}."),
        (2, "{Visit} are booked: {visit_when}."),
    )
    assert len(TEXTS["visit_booked.mail.when"].forms(tongue_of("ar"))) == 1


def test_a_clinic_s_own_words_stand_in_place_of_the_program_s() -> None:
    own = {edit_key("visit_booked.mail.when", 1): "We expect you: {visit_when}."}
    values = {"visit": "your visit", "visit_when": "Monday"}
    assert Speech(ENGLISH, own).say("visit_booked.mail.when", 1, values) == "We expect you: Monday."
    assert Speech(ENGLISH, own).say("visit_booked.mail.when", 2, values) == "Your visit are booked: Monday."
    assert Speech(ENGLISH).say("aftercare.sms.on_short", 2, {}) == "Tape on."
    assert Speech(tongue_of("de")).say("aftercare.sms.on_short", 1, {}) == "Tape ist dran."


def test_words_stored_for_a_locked_sentence_are_not_listened_to() -> None:
    own = {edit_key("skin_check.sms.cold", 1): "Nothing to fear."}
    assert Speech(ENGLISH, own).say("skin_check.sms.cold", 1, {}) == "Cold, blue or numb: tape off now."
