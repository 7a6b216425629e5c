"""Names in many scripts, and every character of the Unicode database that must not hide in one."""

import sys
import unicodedata

import pytest

from clinic.rules.text import UnusableTextError, normalise_name, search_key

CHARACTERS = [chr(code) for code in range(sys.maxunicode + 1)]


def of_category(*categories: str) -> list[str]:
    return [character for character in CHARACTERS if unicodedata.category(character) in categories]


# Unicode character database, category Zs: every kind of space.
def test_every_kind_of_space_is_one_ordinary_space_against_unicode() -> None:
    spaces = of_category("Zs")

    assert len(spaces) == 17
    assert {normalise_name(f"Ana{space}Reis") for space in spaces} == {"Ana Reis"}
    assert {search_key(f"Ana{space}Reis") for space in spaces} == {"ana reis"}


# Unicode character database, categories Cc, Zl and Zp: everything that would end or garble a line.
def test_every_control_character_is_refused_against_unicode() -> None:
    controls = of_category("Cc", "Zl", "Zp")

    assert len(controls) == 67
    for character in controls:
        with pytest.raises(UnusableTextError, match=f"U\\+{ord(character):04X} cannot be kept"):
            normalise_name(f"Ana{character}Reis")


# Unicode Standard Annex 9, the property Bidi_Control.
BIDI_CONTROLS = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def test_no_name_keeps_a_character_that_turns_the_line_against_unicode() -> None:
    explicit = {"LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI"}
    turning = [character for character in CHARACTERS if unicodedata.bidirectional(character) in explicit]

    assert set(turning) <= set(BIDI_CONTROLS)
    assert normalise_name(f"A{BIDI_CONTROLS}na") == "Ana"
    assert search_key(f"A{BIDI_CONTROLS}na") == "ana"


# Unicode character database: every letter is a name of its own, such as the single letter O.
def test_every_letter_of_every_script_is_a_name_against_unicode() -> None:
    letters = of_category("Lu", "Ll", "Lt", "Lm", "Lo")

    kept = {letter for letter in letters if normalise_name(letter) == unicodedata.normalize("NFC", letter)}

    assert kept == set(letters)


# Unicode character database: upper and lower case of a letter are found by each other.
def test_upper_and_lower_case_find_each_other_against_unicode() -> None:
    cased = of_category("Lu", "Lt")
    missed = [letter for letter in cased if search_key(letter) != search_key(letter.lower())]

    assert missed == []


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("\u0141ukasz \u017b\u00f3\u0142\u0107", "\u0142ukasz zo\u0142c"),
        ("Nguy\u1ec5n Th\u1ecb \u00c1nh", "nguyen thi anh"),
        ("\u0391\u03bd\u03c4\u03ce\u03bd\u03b7\u03c2", "\u03b1\u03bd\u03c4\u03c9\u03bd\u03b7\u03c3"),
        ("\uff21\uff42\uff43", "abc"),
        ("\u05e9\u05b8\u05dc\u05d5\u05b9\u05dd", "\u05e9\u05dc\u05d5\u05dd"),
        ("\ufb01nn", "finn"),
        ("Bj\u00f8rn", "bj\u00f8rn"),
        ("O\u2019Neil\u2011Smith", "o'neil-smith"),
        ("D\u02bcArcy", "d'arcy"),
    ],
)
def test_what_a_name_is_searched_by_in_many_scripts(name: str, key: str) -> None:
    assert search_key(name) == key
    assert search_key(key) == key


@pytest.mark.parametrize("query", ["a\x00b", "%", "_", "'''", "x", "x" * 300, "\ud800", "\r\n", ""])
def test_no_query_breaks_the_search(query: str) -> None:
    assert search_key(query) == search_key(search_key(query))


def test_what_people_search_with_stays_literal() -> None:
    assert [search_key(query) for query in ("%", "_", "'''", "a\x00b", "\r\n")] == ["%", "_", "'''", "a b", ""]
