"""What is said about strips that can be made but should be thought about; the texts are data."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil, floor

from taping.rules.amounts import in_mm, in_percent
from taping.rules.tape import Tape
from taping.rules.toml_data import load_table, text_of


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to think about: ``key`` is stable, ``text`` is for the therapist and is shown as it is."""

    key: str
    text: str

    def __str__(self) -> str:
        return self.text


_ROWS = {row["key"]: row for row in load_table("cut_cautions")["caution"]}
_TEXTS: Mapping[str, str] = {key: text_of(row, "text") for key, row in _ROWS.items()}
SHORT_ZONE_MM = float(_ROWS["short_zone"]["threshold"])
STRONG_SHARE = float(_ROWS["strong_tension"]["threshold"])
# "At least" and "at most" are rounded to the safe side, but not by a whole millimetre for the last bits of a sum.
_SLIVER_MM = 1e-6
# Exactly paper-off is not more than paper-off, whatever the last bits of a division say.
_SAME_SHARE = 1e-10


def caution(key: str, **numbers: str) -> Caution:
    """Return the caution of that key with its numbers written in."""
    return Caution(key, _TEXTS[key].format(**numbers))


def at_least_mm(length: float) -> int:
    """Return the first whole millimetre that is not shorter than ``length``."""
    return ceil(length - _SLIVER_MM)


def at_most_mm(length: float) -> int:
    """Return the last whole millimetre that is not longer than ``length``."""
    return floor(length + _SLIVER_MM)


def zone_cautions(zone_mm: float, paper_mm: float, tape: Tape) -> list[Caution]:
    """Return what the lengths alone give cause to say: a short zone, a piece longer than a new roll."""
    found = []
    if zone_mm < SHORT_ZONE_MM:
        found.append(caution("short_zone", zone=in_mm(zone_mm), threshold=in_mm(SHORT_ZONE_MM)))
    if paper_mm > tape.roll_mm:
        found.append(caution("longer_than_roll", paper=in_mm(paper_mm), roll=in_mm(tape.roll_mm)))
    return found


def tension_cautions(share: float, paper_at: Callable[[float], float]) -> list[Caution]:
    """Return what the tension gives cause to say; ``paper_at`` gives the paper length (mm) that makes a share."""
    if share < 0:
        return [caution("loose_tape", shorter=str(at_most_mm(paper_at(0.0))))]
    if share > 1:
        return [caution("beyond_tape", share=in_percent(share), longer=str(at_least_mm(paper_at(1.0))))]
    if share > STRONG_SHARE:
        return [caution("strong_tension", share=in_percent(share), threshold=in_percent(STRONG_SHARE))]
    return []


def paper_off_cautions(share: float, tape: Tape, who: list[str]) -> tuple[Caution, ...]:
    """Return the caution for more than paper-off tension on skin that ``who`` names; nobody named, no caution."""
    if not who or share - tape.paper_off_share < _SAME_SHARE:
        return ()
    numbers = {"share": in_percent(share), "paper_off": in_percent(tape.paper_off_share)}
    return (caution("paper_off_exceeded", who=" and ".join(who), **numbers),)
