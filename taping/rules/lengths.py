"""Lengths as the clinic writes and reads them: millimetres, centimetres, or inches in sixteenths."""

import re
import unicodedata
from enum import StrEnum
from math import floor

from taping.rules.amounts import not_negative, positive

# Exactly, by the agreement on the yard and pound of 1959 (NIST Special Publication 811, appendix B).
MM_PER_INCH = 25.4

_SIXTEENTHS = 16
# Nobody types a longer length, and a very long run of digits would be slow to read as a number.
_LONGEST_TEXT = 30
_SAME = 1e-9


class Unit(StrEnum):
    """The unit a clinic works in."""

    MM = "mm"
    CM = "cm"
    INCH = "inch"


_MM_PER = {Unit.MM: 1.0, Unit.CM: 10.0, Unit.INCH: MM_PER_INCH}
_NAMES = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), Unit.MM),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), Unit.CM),
    **dict.fromkeys(("in", "in.", "inch", "inches", '"', "''"), Unit.INCH),
}
# The fraction bar, the prime (two of them make inches, also once a double prime came apart) and the curly quotes.
_TYPED = str.maketrans({"\u2044": "/", "\u2032": "'", "\u2019": "'", "\u201d": '"'})
_EXAMPLES = {Unit.MM: "120 or 12.5 cm", Unit.CM: "12.5 or 4 3/8 in", Unit.INCH: "4 3/8 or 12.5 cm"}
_WHOLE = r"[0-9]{1,5}"
_LENGTH = re.compile(
    rf"(?:(?P<decimal>{_WHOLE}(?:[.,][0-9]{{1,4}})?|[.,][0-9]{{1,4}})"
    rf"|(?:(?P<whole>{_WHOLE})[ -])?(?P<above>[0-9]{{1,2}})/(?P<below>[0-9]{{1,2}}))"
    r" ?(?P<unit>(?:[a-z]+\.?|\"|'')?)"
)


class UnreadableLengthError(ValueError):
    """A length that cannot be read; the text repeats it and says what would work."""


def format_length(length_mm: float, unit: Unit) -> str:
    """Return a length with its unit: whole millimetres, centimetres to a millimetre, or inches in sixteenths.

    Half way between two it takes the longer one, which pulls less.

    Raises:
        BadNumberError: for a length below 0, infinite or NaN.
    """
    length = not_negative(length_mm, "the length")
    if unit is Unit.INCH:
        return f"{_inches(length)} in"
    millimetres = floor(length + 0.5 + _SAME)
    return f"{millimetres} mm" if unit is Unit.MM else f"{millimetres // 10}.{millimetres % 10} cm"


def _inches(length_mm: float) -> str:
    whole, parts = divmod(floor(length_mm / MM_PER_INCH * _SIXTEENTHS + 0.5 + _SAME), _SIXTEENTHS)
    below = _SIXTEENTHS
    while parts and parts % 2 == 0:
        parts, below = parts // 2, below // 2
    if not parts:
        return str(whole)
    return f"{whole} {parts}/{below}" if whole else f"{parts}/{below}"


def parse_length(text: str, unit: Unit) -> float:
    """Return in millimetres what a therapist typed; a number alone is in the clinic's ``unit``.

    Reads "12", "12.5 cm", "12,5 cm", "120mm", "4 3/8 in", "4-3/8", "4½ in". Fractions are inches only.

    Raises:
        UnreadableLengthError: for anything else, for nothing and for a length of 0.
    """
    found = _LENGTH.fullmatch(_plain(text)) if len(text) <= _LONGEST_TEXT else None
    if found is None:
        raise _unreadable(text, unit, "is not a length")
    if found["unit"] and found["unit"] not in _NAMES:
        raise _unreadable(text, unit, "is in no unit known here (mm, cm, in)")
    named = _NAMES[found["unit"]] if found["unit"] else unit
    amount = _decimal(found["decimal"], text, unit) if found["decimal"] else _fraction(found, text, unit, named)
    if not amount:
        raise _unreadable(text, unit, "is no length at all")
    return amount * _MM_PER[named]


def _plain(text: str) -> str:
    # A typed "½" comes apart as 1⁄2, and "4½" would read 41/2 without the space.
    spaced = "".join(f" {sign}" if unicodedata.decomposition(sign).startswith("<fraction>") else sign for sign in text)
    plain = unicodedata.normalize("NFKC", spaced).translate(_TYPED)
    return " ".join(plain.casefold().split())


def _decimal(digits: str, text: str, unit: Unit) -> float:
    # 1,250 is a thousand and more to one reader and one and a quarter to another.
    if re.search(r",[0-9]{3}$", digits):
        raise _unreadable(text, unit, "can be read in two ways, with its comma")
    return float(digits.replace(",", "."))


def _fraction(found: re.Match[str], text: str, unit: Unit, named: Unit) -> float:
    above, below = int(found["above"]), int(found["below"])
    if named is not Unit.INCH:
        raise _unreadable(text, unit, "has a fraction, which is read in inches only")
    if not above < below:
        raise _unreadable(text, unit, "has a fraction that is not below one")
    return int(found["whole"] or 0) + above / below


def _unreadable(text: str, unit: Unit, why: str) -> UnreadableLengthError:
    return UnreadableLengthError(f"{text[:_LONGEST_TEXT]!r} {why}: write a length above 0, such as {_EXAMPLES[unit]}")


def strips_per_roll(paper_mm: float, roll_mm: float) -> tuple[int, float]:
    """Return how many pieces of ``paper_mm`` a roll gives, and the millimetres that are left over.

    Raises:
        BadNumberError: for lengths that are not above 0.
    """
    paper, roll = positive(paper_mm, "the paper length"), positive(roll_mm, "the length of the roll")
    count = floor(roll / paper + _SAME)
    return count, max(roll - count * paper, 0.0)
