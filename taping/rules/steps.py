"""Ordered steps in plain words, read from the data files."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from taping.rules.toml_data import text_of


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, in words for a patient, the key of its picture, and where it comes from."""

    key: str
    text: str
    picture: str
    source: str


def steps_from(rows: Iterable[Mapping[str, Any]]) -> tuple[Step, ...]:
    """Return the steps of a data file in its order.

    Raises:
        DataError: when a step lacks its key, text or source.
    """
    return tuple(
        Step(text_of(row, "key"), text_of(row, "text"), text_of(row, "picture", default=""), text_of(row, "source"))
        for row in rows
    )
