"""Which strips of a tape are still on the skin, from what happened to them."""

from collections.abc import Iterable
from enum import StrEnum


class StripChange(StrEnum):
    """What can happen to one strip while the tape is worn."""

    EDGE_TRIMMED = "edge_trimmed"
    STRIP_OFF = "strip_off"
    STRIP_REPLACED = "strip_replaced"


def strips_worn(positions: Iterable[int], changes: Iterable[tuple[str, int | None]]) -> tuple[int, ...]:
    """Return the positions that are on, in order, after ``changes`` (what, position) in the order they happened.

    A strip is on until it came off, and again once it was replaced; a trimmed edge takes nothing off.

    Raises:
        ValueError: for a change that is none.
    """
    on = dict.fromkeys(positions, True)
    for what, position in changes:
        change = StripChange(what)
        if position in on and change is not StripChange.EDGE_TRIMMED:
            on[position] = change is StripChange.STRIP_REPLACED
    return tuple(sorted(position for position, worn in on.items() if worn))
