"""What is said about strips that can be made but should be thought about; the texts are data."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from taping.rules.amounts import in_percent
from taping.rules.lengths import Unit
from taping.rules.tape import Tape
from taping.rules.toml_data import load_table, text_of
from taping.rules.wording import Bound, Length, Sentence, sentence


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to think about: ``key`` is stable, ``text`` is for the therapist, with its lengths in millimetres."""

    key: str
    text: str
    said: Sentence | None = field(default=None, compare=False, repr=False)

    def in_unit(self, unit: Unit) -> "Caution":
        """Return the same caution with the lengths of its text in ``unit``."""
        return self if self.said is None else Caution(self.key, self.said.in_unit(unit), self.said)

    def __str__(self) -> str:
        return self.text


_ROWS = {row["key"]: row for row in load_table("cut_cautions")["caution"]}
_TEXTS: Mapping[str, str] = {key: text_of(row, "text") for key, row in _ROWS.items()}
SHORT_ZONE_MM = float(_ROWS["short_zone"]["threshold"])
STRONG_SHARE = float(_ROWS["strong_tension"]["threshold"])
SLIP_MM = 5.0
"""How far off a span measured by hand may easily be; common practice, no source."""
# Exactly paper-off is not more than paper-off, whatever the last bits of a division say.
_SAME_SHARE = 1e-10


def caution(key: str, **parts: str | Length) -> Caution:
    """Return the caution of that key with its numbers written in."""
    said = sentence(_TEXTS[key], **parts)
    return Caution(key, said.in_unit(Unit.MM), said)


def zone_cautions(zone_mm: float, paper_mm: float, tape: Tape) -> list[Caution]:
    """Return what the lengths alone give cause to say: a short zone, a piece longer than a new roll."""
    found = []
    if zone_mm < SHORT_ZONE_MM:
        found.append(caution("short_zone", zone=Length(zone_mm), threshold=Length(SHORT_ZONE_MM), slip=Length(SLIP_MM)))
    if paper_mm > tape.roll_mm:
        found.append(caution("longer_than_roll", paper=Length(paper_mm), roll=Length(tape.roll_mm)))
    return found


def tension_cautions(share: float, paper_at: Callable[[float], float]) -> list[Caution]:
    """Return what the tension gives cause to say; ``paper_at`` gives the paper length (mm) that makes a share."""
    if share < 0:
        return [caution("loose_tape", shorter=Length(paper_at(0.0), Bound.AT_MOST))]
    if share > 1:
        return [caution("beyond_tape", share=in_percent(share), longer=Length(paper_at(1.0), Bound.AT_LEAST))]
    if share > STRONG_SHARE:
        return [caution("strong_tension", share=in_percent(share), threshold=in_percent(STRONG_SHARE))]
    return []


def paper_off_cautions(share: float, tape: Tape, who: list[str]) -> tuple[Caution, ...]:
    """Return the caution for more than paper-off tension on skin that ``who`` names; nobody named, no caution."""
    if not who or share - tape.paper_off_share < _SAME_SHARE:
        return ()
    numbers = {"share": in_percent(share), "paper_off": in_percent(tape.paper_off_share)}
    return (caution("paper_off_exceeded", who=" and ".join(who), **numbers),)
