"""Names as typed, without what cannot be seen, and found again."""

import sys
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.rules.text import UnusableTextError, find_key, greeting, normalise_line, normalise_name, search_key


def refusal(text: str) -> str:
    with pytest.raises(UnusableTextError) as refused:
        normalise_name(text)
    return str(refused.value)


@pytest.mark.parametrize(
    "name",
    [
        "O'Neil",
        "D\u2019Souza",
        "Anne-Marie",
        "van der Berg",
        "Suharto",
        "O",
        "Null",
        "\u9648",
        "<b>Al</b>",
        "x" * 80,
        "\u05de\u05e8\u05d9\u05dd \u05db\u05d4\u05df",
        "Gon\u00e7alves",
        "\u0928\u0940\u0924\u093e",
        "X \u00c6 7",
    ],
)
def test_a_name_is_kept_exactly_as_typed(name: str) -> None:
    assert normalise_name(name) == name


# Unicode Standard Annex 15: composed and decomposed spellings are the same text.
def test_composed_and_decomposed_spellings_are_one_name_against_unicode() -> None:
    composed = "Zo\u00eb Bront\u00eb"
    decomposed = unicodedata.normalize("NFD", composed)

    assert (len(composed), len(decomposed)) == (10, 12)
    assert normalise_name(decomposed) == composed


@pytest.mark.parametrize(
    "typed",
    [
        "Ana Reis",
        "Ana\u00a0Reis",
        "Ana Reis\u200b ",
        "\u200bAna Reis",
        "Ana \u3000 Reis",
        "\ufeffAna Reis",
        "An\u00ada Reis",
        "An\u2060a Reis",
        "Ana\u202f\u2009Reis",
        "\u200dAna\u200c Reis",
        "Ana \u200d Reis\u200c\u200d",
    ],
)
def test_spaces_that_are_not_spaces_make_no_second_patient(typed: str) -> None:
    assert normalise_name(typed) == "Ana Reis"


def test_joiners_inside_a_word_stay_because_some_scripts_need_them() -> None:
    persian, sinhala = "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645", "\u0dc1\u0dca\u200d\u0dbb\u0dd3"

    assert normalise_name(f"{persian} {sinhala}") == f"{persian} {sinhala}"


# Unicode Standard Annex 9: the explicit marks, embeddings, overrides and isolates.
@pytest.mark.parametrize("code", [0x200E, 0x200F, 0x061C, *range(0x202A, 0x202F), *range(0x2066, 0x206A)])
def test_a_name_cannot_disguise_itself_by_turning_the_direction_against_unicode(code: int) -> None:
    assert unicodedata.bidirectional(chr(code)) in {"L", "R", "AL", "LRE", "RLE", "PDF", "LRO", "RLO"} | {
        "LRI",
        "RLI",
        "FSI",
        "PDI",
    }
    assert normalise_name(f"Ana{chr(code)} Reis") == "Ana Reis"


def test_an_invisible_character_between_a_letter_and_its_mark_hides_nothing() -> None:
    assert normalise_name("Zoe\u200b\u0308") == "Zo\u00eb"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Ana\r\nBcc: z@example.net", "U+000D"),
        ("a\x00b", "U+0000"),
        ("a\tb", "U+0009"),
        ("a\x7fb", "U+007F"),
        ("a\x85b", "U+0085"),
        ("a\u2028b", "U+2028"),
        ("a\u2029b", "U+2029"),
        ("a\ud800b", "U+D800"),
    ],
)
def test_control_characters_are_refused_by_number(text: str, code: str) -> None:
    assert refusal(text) == f"the character {code} cannot be kept in a single line: remove it"


@pytest.mark.parametrize("text", ["", "   ", "\u200b", "\u00a0\u202e", "\u200d", "\u0301"])
def test_a_name_with_nothing_to_read_is_refused(text: str) -> None:
    assert refusal(text) == "a name is needed: nothing that can be read was written"


def test_two_hundred_characters_fit_and_one_more_does_not() -> None:
    assert normalise_name("x" * 200 + " ") == "x" * 200
    assert refusal("x" * 201) == "201 characters are too long: at most 200 fit"


def test_other_single_lines_may_be_empty_and_have_their_own_length() -> None:
    assert normalise_line(" \u200b", longest=3) == ""
    assert normalise_line("abc", longest=3) == "abc"
    with pytest.raises(UnusableTextError, match="4 characters are too long: at most 3 fit"):
        normalise_line("abcd", longest=3)


@settings(deadline=None)
@given(st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=60))
def test_what_was_stored_is_stored_the_same_again(text: str) -> None:
    once = normalise_line(text, longest=400)

    assert normalise_line(once, longest=400) == once
    assert unicodedata.is_normalized("NFC", once)


@pytest.mark.parametrize(
    ("stored", "searched"),
    [
        ("\u00c9lodie", "elodie"),
        ("\u00c9lodie", "\u00e9lodie"),
        ("Stra\u00dfe", "STRASSE"),
        ("\u0130pek", "ipek"),
        ("\u0418\u0432\u0430\u043d", "\u0438\u0432\u0430\u043d"),
        ("Zo\u00eb Bront\u00eb", "zoe\u0308  bronte\u0308"),
        ("D\u2019Souza", "d'souza"),
        ("Anne\u2010Marie", "anne-marie"),
        ("Ana Reis", "ana\u00a0reis\u200b"),
        ("\u0645\u06cc\u200c\u062e", "\u0645\u06cc\u062e"),
        ("a\x00b\n", "a b"),
    ],
)
def test_a_name_is_found_however_it_is_typed(stored: str, searched: str) -> None:
    assert search_key(stored) == search_key(searched)


@pytest.mark.parametrize(("one", "other"), [("%", "_"), ("Ana", "Anna"), ("Null", ""), ("O'Neil", "ONeil")])
def test_different_names_stay_different(one: str, other: str) -> None:
    assert search_key(one) != search_key(other)


# The Unicode character database: every character that folding or decomposition changes, or that is a mark.
def test_the_key_of_a_key_is_itself_for_every_character_against_unicode() -> None:
    characters = (chr(code) for code in range(sys.maxunicode + 1))
    folding = (c for c in characters if unicodedata.combining(c) or unicodedata.normalize("NFKD", c.casefold()) != c)
    keys = {search_key(f"a{character}") for character in folding}

    assert [key for key in keys if search_key(key) != key] == []
    assert len(keys) > 5_000


def test_a_patient_is_greeted_by_the_name_they_chose() -> None:
    assert greeting("Hello", " Ada ") == "Hello Ada"


@pytest.mark.parametrize("nothing", ["", "  ", "\u200b"])
def test_who_chose_no_name_is_greeted_without_one(nothing: str) -> None:
    assert greeting("Hello", nothing) == "Hello"


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Ada Quill", "ada quill"),
        ("Sorcha O\u2019Fenwick", "sorcha o'fenwick ofenwick"),
        ("Ana-Maria D'Arno", "ana-maria d'arno anamaria darno"),
        ("- Quill '", "- quill '"),
    ],
)
def test_a_name_is_found_without_its_apostrophes_and_hyphens(name: str, key: str) -> None:
    assert find_key(name) == key


def test_what_a_name_is_found_by_has_a_length() -> None:
    assert find_key("O'Fenwick " * 100, longest=40) == ("o'fenwick " * 4)[:40]
