"""What is no longer as it was when the same place was taped last time. Nothing here forbids: it is told beforehand."""

from dataclasses import dataclass

from taping.rules.amounts import in_percent
from taping.rules.lengths import Unit, format_length
from taping.rules.tape import Tape


@dataclass(frozen=True, slots=True)
class StripThen:
    """A strip of last time and the same strip now: cut lengths in millimetres, and the roll by its name, or ""."""

    position: int
    paper_then_mm: float
    paper_now_mm: float
    roll_then: str
    roll_now: str
    tape_now: Tape


@dataclass(frozen=True, slots=True)
class ClinicNumbers:
    """The waits (minutes) and the last day of the wear window that a taping is given."""

    adhesion_minutes: int
    water_minutes: int
    last_day: int


def strip_differences(strip: StripThen, unit: Unit) -> tuple[str, ...]:
    """Return what a strip cut again differs in, in sentences with lengths in ``unit``; nothing where it is the same.

    Lengths that read the same in ``unit`` are the same: no hand cuts finer.
    """
    told = []
    if strip.roll_now != strip.roll_then:
        now_with = _named(strip.roll_now)
        told.append(f"Strip {strip.position}: {strip.roll_then} is put away; reckoned with {now_with} now.")
    then, now = (format_length(length, unit) for length in (strip.paper_then_mm, strip.paper_now_mm))
    if then != now:
        pre, limit = in_percent(strip.tape_now.pre_stretch), in_percent(strip.tape_now.limit)
        told.append(
            f"Strip {strip.position}: cut {now} now, {then} last time, for the same span and tension. This tape is "
            f"reckoned with {pre} % on its backing, {limit} % at the most."
        )
    return tuple(told)


def number_differences(then: ClinicNumbers, now: ClinicNumbers, *, shortened: bool) -> tuple[str, ...]:
    """Return which of the clinic's numbers changed since; the last day says nothing where it was ``shortened``."""
    rows = [
        ("Wait before easy movement", "minutes", then.adhesion_minutes, now.adhesion_minutes),
        ("Wait before sweat and water", "minutes", then.water_minutes, now.water_minutes),
    ]
    told = [f"{name}: {after} {unit} now, {before} last time." for name, unit, before, after in rows if before != after]
    if not shortened and then.last_day != now.last_day:
        told.append(f"Last day on the skin: day {now.last_day} now, day {then.last_day} last time.")
    return tuple(told)


def _named(roll: str) -> str:
    return roll or "the rough numbers of a roll that was never measured"
