"""What is said about strips that can be made but should be thought about; the texts are data."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from taping.rules.amounts import in_mm
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


def caution(key: str, **numbers: str) -> Caution:
    """Return the caution of that key with its numbers written in."""
    return Caution(key, _TEXTS[key].format(**numbers))


def percent(share: float) -> str:
    """Return a share as whole percent without the sign; next to a limit a tenth is kept, so that 75.2 is not 75."""
    shown = f"{share * 100:.1f}" if abs(share * 100 - round(share * 100)) >= 0.05 else f"{share * 100:.0f}"
    return shown


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
        return [caution("loose_tape", shorter=f"{paper_at(0.0):.0f}")]
    if share > 1:
        return [caution("beyond_tape", share=percent(share), longer=f"{paper_at(1.0):.0f}")]
    if share > STRONG_SHARE:
        return [caution("strong_tension", share=percent(share), threshold=percent(STRONG_SHARE))]
    return []
