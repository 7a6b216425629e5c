"""The languages: sentences, plurals, lists, direction. Days are checked beside the words that are made of them."""

from collections.abc import Hashable

import pytest

from clinic.models.people import Language
from clinic.rules.tongue import (
    ENGLISH,
    LANGUAGES,
    Tongue,
    UnknownLanguage,
    edition_of,
    filled,
    holes_in,
    is_read,
    spoken,
    tongue_of,
    unread,
)

OTHERS = [key for key in LANGUAGES if key != "en"]


def test_patients_can_choose_exactly_the_languages_there_are() -> None:
    assert set(Language.values) == set(LANGUAGES)


def test_an_unknown_language_is_refused_with_those_there_are() -> None:
    with pytest.raises(UnknownLanguage, match="'xx' is not a language here; there are en, es, fr, de, ar"):
        tongue_of("xx")


@pytest.mark.parametrize("key", OTHERS)
def test_a_sentence_is_said_in_the_language(key: str) -> None:
    said = tongue_of(key).say("The days")
    assert said
    assert said != "The days"


def test_english_says_the_program_s_own_sentences() -> None:
    assert tongue_of("en") is ENGLISH
    assert ENGLISH.say("Rest until {time}.", time="10:20") == "Rest until 10:20."


def test_nothing_is_said_of_nothing() -> None:
    """An empty key of a catalogue is its head, which no patient must read."""
    assert [tongue_of(key).say("") for key in LANGUAGES] == [""] * len(LANGUAGES)


def test_a_sentence_that_no_catalogue_has_is_said_in_english() -> None:
    assert tongue_of("de").say("Hopscotch.") == "Hopscotch."


@pytest.mark.parametrize(
    ("key", "number", "said"),
    [
        ("en", 1, "your tape"), ("en", 2, "your tapes"), ("de", 1, "Ihr Tape"), ("de", 2, "Ihre Tapes"),
        ("fr", 1, "votre bande"), ("fr", 2, "vos bandes"), ("es", 1, "su cinta"), ("es", 3, "sus cintas"),
        ("ar", 1, "شريطك"), ("ar", 2, "شريطك"),
    ],
)  # fmt: skip
def test_one_and_several_have_their_forms(key: str, number: int, said: str) -> None:
    assert tongue_of(key).count("your tape", "your tapes", number) == said


@pytest.mark.parametrize(("number", "said"), [(1, "موعدك"), (2, "موعداك"), (3, "مواعيدك"), (10, "مواعيدك")])
def test_arabic_has_a_form_for_two(number: int, said: str) -> None:
    assert tongue_of("ar").count("your visit", "your visits", number) == said


def test_the_forms_name_the_smallest_number_each_is_said_of() -> None:
    assert tongue_of("ar").forms("your visit", "your visits") == ((1, "موعدك"), (2, "موعداك"), (3, "مواعيدك"))
    assert ENGLISH.forms("your visit", "your visits") == ((1, "your visit"), (2, "your visits"))
    assert tongue_of("ar").form_number("your visit", "your visits", 7) == 3
    assert ENGLISH.form_number("your visit", "your visits", 1) == 1


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("en", ["", "a", "a and b", "a, b and c"]), ("de", ["", "a", "a und b", "a, b und c"]),
        ("ar", ["", "a", "a وb", "a، b وc"]),
    ],
)  # fmt: skip
def test_lists_are_joined_as_the_language_joins_them(key: str, said: list[str]) -> None:
    words = ["a", "b", "c"]
    assert [tongue_of(key).all_of(words[:count]) for count in range(4)] == said


def test_only_arabic_runs_from_right_to_left() -> None:
    assert [key for key in LANGUAGES if tongue_of(key).direction == "rtl"] == ["ar"]
    assert (tongue_of("ar").begins, tongue_of("de").begins) == ("\u200f", "")


def test_a_telephone_number_keeps_its_order_among_arabic_letters() -> None:
    assert tongue_of("ar").number_apart("(212) 555-0100") == "\u200e(212) 555-0100\u200e"
    assert tongue_of("ar").number_apart("") == ""
    assert tongue_of("fr").number_apart("(212) 555-0100") == "(212) 555-0100"


def test_placeholders_are_found_and_filled() -> None:
    assert holes_in("{Tape} ({place}) comes off {off_when}.") == ("Tape", "place", "off_when")
    assert filled("{Tape} on: {place}", {"tape": "your tape", "place": "left knee"}) == "Your tape on: left knee"
    assert filled("{Tape}", {"tape": ""}) == ""


def test_a_placeholder_without_a_value_is_a_fault() -> None:
    with pytest.raises(KeyError):
        ENGLISH.say("{time}")


@pytest.mark.parametrize("text", ["{0}", "{tape.__class__}", "{tape!r}", "{tape:>9}", "{}", "{{tape"])
def test_nothing_but_plain_names_is_understood(text: str) -> None:
    """What str.format would do here could reach into the program."""
    assert filled(text, {"tape": "x"}) == text


@pytest.mark.parametrize(
    ("wanted", "clinic", "approved", "said"),
    [("es", "en", ["es"], "es"), ("es", "en", [], "en"), ("de", "de", [], "de"), ("en", "de", ["en"], "en")],
)
def test_a_language_that_is_off_gives_way_to_the_clinic_s(
    wanted: str, clinic: str, approved: list[str], said: str
) -> None:
    assert spoken(wanted, clinic=clinic, approved=approved) == said


def test_a_language_is_told_by_its_code() -> None:
    assert Tongue("en") == ENGLISH
    assert Tongue("de") != ENGLISH


def test_an_approval_covers_the_sentences_it_was_given_for_and_no_others() -> None:
    said: dict[Hashable, str] = {"Tape": "Tape", ("a day", 0): "ein Tag"}
    other: list[dict[Hashable, str]] = [
        said | {"Tape": "Band"},
        said | {"More": "Mehr"},
        {"Tape": "Tape"},
        said | {("a day", 1): "Tage"},
    ]
    assert edition_of(dict(reversed(said.items()))) == edition_of(said)
    assert len({edition_of(one) for one in [said, *other]}) == 5
    assert len({tongue_of(key).edition for key in LANGUAGES}) == len(LANGUAGES)
    assert is_read({"edition": tongue_of("de").edition}, tongue_of("de")) is True
    assert is_read({"edition": tongue_of("fr").edition}, tongue_of("de")) is False


def test_an_approval_from_before_editions_were_kept_covers_english_alone() -> None:
    assert {key: is_read({"name": "Nur"}, tongue_of(key)) for key in LANGUAGES} == {
        key: key == "en" for key in LANGUAGES
    }


def test_the_languages_whose_sentences_nobody_read_are_named_in_their_own_words() -> None:
    read = {"edition": tongue_of("fr").edition}
    assert unread({"ar": {}, "fr": read, "de": {"edition": "old"}, "en": {}, "gone": {}}) == ["Deutsch", "العربية"]
