"""Which paper a country prints on, and what a script is called that no font here can draw."""

import unicodedata
from collections.abc import Iterable

# Unicode CLDR, supplemental data, measurementData: paperSize type="US-Letter".
LETTER_COUNTRIES = frozenset({"BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE"})

_SCRIPTS = {"CJK": "Chinese or Japanese", "HIRAGANA": "Japanese", "KATAKANA": "Japanese", "HANGUL": "Korean"}
_PICTURES = ("So", "Sk", "Co", "Cn", "Cs")


def paper_for(country: str) -> str:
    """Return "letter" or "A4", as CSS calls them, for a country's two letters (ISO 3166-1)."""
    return "letter" if country.upper() in LETTER_COUNTRIES else "A4"


def script_of(character: str) -> str:
    """Return what the letters of this character's script are called: "Thai", "Chinese or Japanese"; signs: "picture".

    The first word of a character's name in the Unicode standard is its script for nearly all letters.
    """
    name = unicodedata.name(character, "")
    if not name or unicodedata.category(character) in _PICTURES:
        return "picture"
    first = name.split()[0]
    return _SCRIPTS.get(first, first.capitalize())


def scripts_of(characters: Iterable[str]) -> tuple[str, ...]:
    """Return the scripts of these characters, each once, in alphabetical order."""
    return tuple(sorted({script_of(character) for character in characters}))


def without_characters(text: str, missing: Iterable[str]) -> str:
    """Return text with each run of missing characters replaced by its script in brackets: "[Thai letters]".

    Spaces and marks between two missing characters of one run go with it.
    """
    lost = frozenset(missing)
    kept: list[str] = []
    gap: list[str] = []
    run = ""
    for character in text:
        if character in lost:
            script = script_of(character)
            if script != run:
                kept += [*gap, _bracket(script)]
                run = script
            gap = []
        elif run and (character == " " or unicodedata.category(character).startswith("M")):
            gap.append(character)
        else:
            kept += [*(one for one in gap if one == " "), character]
            gap, run = [], ""
    return "".join([*kept, *(one for one in gap if one == " ")])


def _bracket(script: str) -> str:
    return "[sign]" if script == "picture" else f"[{script} letters]"
