"""Words for what a therapist finds on the skin. They are vocabularies: nothing here grades anything."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from taping.rules.toml_data import load_table, text_of


@dataclass(frozen=True, slots=True)
class Grade:
    """One word of a vocabulary: its sign or group, the finding, what follows, and its source.

    ``score`` is the published number of a patch-test reading, None where there is none.
    """

    key: str
    group: str
    words: str
    next_step: str
    source: str
    score: float | None


def grades_from(rows: Iterable[Mapping[str, Any]]) -> tuple[Grade, ...]:
    """Return the words of one vocabulary in the data file's order.

    Raises:
        DataError: when a text is missing.
    """
    return tuple(
        Grade(
            key=text_of(row, "key"),
            group=text_of(row, "group"),
            words=text_of(row, "words"),
            next_step=text_of(row, "next", default=""),
            source=text_of(row, "source"),
            score=row.get("score"),
        )
        for row in rows
    )


_DATA = load_table("skin_grades")

INJURY_TYPES: tuple[Grade, ...] = grades_from(_DATA["injury"])
"""Kinds of adhesive skin injury (MARSI)."""

TEAR_TYPES: tuple[Grade, ...] = grades_from(_DATA["tear"])
"""Kinds of skin tear (ISTAP)."""

PATCH_READINGS: tuple[Grade, ...] = grades_from(_DATA["reading"])
"""Readings of a patch test (ICDRG); for patch tests only."""
