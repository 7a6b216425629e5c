"""Paper by country, and the names of letters that cannot be printed."""

import pytest

from reminders.rules.paper import paper_for, script_of, scripts_of, without_characters


@pytest.mark.parametrize(
    ("country", "paper"), [("US", "letter"), ("us", "letter"), ("CA", "letter"), ("GB", "A4"), ("DE", "A4"), ("", "A4")]
)
def test_paper_of_a_country_against_cldr_paper_size(country: str, paper: str) -> None:
    """Unicode CLDR, supplemental data, measurementData: paperSize US-Letter and A4 (from memory)."""
    assert paper_for(country) == paper


@pytest.mark.parametrize(
    ("character", "script"),
    [
        ("ก", "Thai"),
        ("अ", "Devanagari"),
        ("م", "Arabic"),
        ("李", "Chinese or Japanese"),
        ("ひ", "Japanese"),
        ("한", "Korean"),
        ("🦵", "picture"),
        ("\ue000", "picture"),
    ],
)
def test_the_script_of_a_letter(character: str, script: str) -> None:
    assert script_of(character) == script


def test_scripts_are_named_once_in_order() -> None:
    assert scripts_of("กขअ") == ("Devanagari", "Thai")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("For กข: knee", "For [Thai letters]: knee"),
        ("กข กข", "[Thai letters]"),
        ("กข ", "[Thai letters] "),
        ("กข a", "[Thai letters] a"),
        ("ก\u0301ข", "[Thai letters]"),
        ("กअ", "[Thai letters][Devanagari letters]"),
        ("a 🦵 b", "a [sign] b"),
        ("nothing", "nothing"),
    ],
)
def test_each_run_of_letters_that_cannot_be_printed_is_named(text: str, shown: str) -> None:
    assert without_characters(text, set("กขअ🦵")) == shown
