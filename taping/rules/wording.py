"""Sentences with lengths in them, said in the unit that the clinic works in."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, floor

from taping.rules.amounts import in_mm
from taping.rules.lengths import MM_PER_INCH, Unit, format_length

# "At least" and "at most" are rounded to the safe side, but not by a whole step for the last bits of a sum.
_SLIVER_MM = 1e-6
_SIXTEENTH_MM = MM_PER_INCH / 16


class Bound(StrEnum):
    """Which way a length is rounded: a bound goes to its safe side."""

    NONE = "none"
    AT_LEAST = "at_least"
    AT_MOST = "at_most"


@dataclass(frozen=True, slots=True)
class Length:
    """A length in a sentence, in millimetres."""

    mm: float
    bound: Bound = Bound.NONE

    def in_unit(self, unit: Unit) -> str:
        """Return it with its unit: millimetres to a tenth, centimetres to a millimetre, inches in sixteenths."""
        if self.bound is Bound.NONE:
            return f"{in_mm(self.mm)} mm" if unit is Unit.MM else format_length(self.mm, unit)
        step = _SIXTEENTH_MM if unit is Unit.INCH else 1.0
        if self.bound is Bound.AT_LEAST:
            return format_length(ceil((self.mm - _SLIVER_MM) / step) * step, unit)
        return format_length(floor((self.mm + _SLIVER_MM) / step) * step, unit)


@dataclass(frozen=True, slots=True)
class Sentence:
    """A pattern with {names}, and what stands for each: words, or a length that takes the reader's unit."""

    pattern: str
    parts: Mapping[str, str | Length]

    def in_unit(self, unit: Unit) -> str:
        """Return the words in that unit."""
        return self.pattern.format(
            **{name: part.in_unit(unit) if isinstance(part, Length) else part for name, part in self.parts.items()}
        )


def sentence(pattern: str, **parts: str | Length) -> Sentence:
    """Return the sentence of that pattern."""
    return Sentence(pattern, parts)


def as_sentence(said: Sentence | str) -> Sentence:
    """Return words as a sentence that is the same in every unit."""
    return said if isinstance(said, Sentence) else Sentence("{words}", {"words": said})


def sum_number(length_mm: float, unit: Unit) -> str:
    """Return a length for a written sum, without its unit: a decimal number, since fractions would not add up."""
    if unit is Unit.MM:
        return in_mm(length_mm)
    return f"{length_mm / (MM_PER_INCH if unit is Unit.INCH else 10):.2f}".rstrip("0").rstrip(".")


def unit_word(unit: Unit) -> str:
    """Return how a length in that unit ends: mm, cm, in."""
    return "in" if unit is Unit.INCH else unit.value
