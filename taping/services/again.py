"""What "again as last time" would bring: the strips as they would be cut now, and what changed since."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from clinic.models import Clinic
from taping.models import Application, SkinScreen, Strip, TapeRoll
from taping.rules.again import ClinicNumbers, StripThen, number_differences, strip_differences
from taping.rules.clock import local_date
from taping.rules.cut import Cut, ImpossibleCut
from taping.rules.lengths import Unit
from taping.rules.skin_application import PERMITS
from taping.selectors import last_like, rolls_in_use, unit_of
from taping.services.strips import StripValues, roll_again, tape_of, values_again


@dataclass(frozen=True, slots=True)
class AgainStrip:
    """One strip of last time; cut is what it would be now, or None and why it cannot be cut so again."""

    strip: Strip
    cut: Cut | None
    why: str


@dataclass(frozen=True, slots=True)
class Again:
    """The offer to take the plan of an earlier taping. as_on: its day at the clinic."""

    last: Application
    as_on: date
    strips: tuple[AgainStrip, ...]
    differences: tuple[str, ...]

    @property
    def possible(self) -> bool:
        return bool(self.strips) and all(row.cut is not None for row in self.strips)


def again_for(screen: SkinScreen, clinic: Clinic) -> Again | None:
    """The offer after a recorded screen: none where it permits no tape, where its strips are planned, or on tape."""
    planned = Q(application__isnull=False) | Q(closed_at=None, strips__isnull=False)
    if screen.outcome not in PERMITS or screen.plans.filter(planned).exists():
        return None
    last = last_like(screen.patient, screen.region, screen.side)
    return again_of(last, clinic) if last is not None and last.ended_at is not None else None


def again_of(last: Application, clinic: Clinic) -> Again:
    """What taking the plan of last would bring today. last: with its plan, strips and their rolls at hand."""
    unit, rolls = unit_of(clinic), list(rolls_in_use())
    strips: list[AgainStrip] = []
    told: list[str] = []
    for strip in last.plan.strips.all():
        row, differs = _strip(strip, rolls, unit)
        strips.append(row)
        told.extend(differs)
    as_on = local_date(last.applied_at, clinic.zone)
    then = ClinicNumbers(last.adhesion_minutes, last.water_minutes, (last.closes_on - as_on).days)
    now = ClinicNumbers(
        clinic.adhesion_minutes, max(clinic.water_minutes, clinic.adhesion_minutes), clinic.wear_last_day
    )
    told.extend(number_differences(then, now, shortened=bool(last.shortened_why)))
    return Again(last, as_on, tuple(strips), tuple(told))


def _strip(strip: Strip, rolls: list[TapeRoll], unit: Unit) -> tuple[AgainStrip, tuple[str, ...]]:
    roll = roll_again(strip, rolls)
    try:
        values: StripValues = values_again(strip, roll=roll)
    except ImpossibleCut as impossible:
        return AgainStrip(strip, None, impossible.in_unit(unit)), ()
    facts = StripThen(
        position=strip.position,
        paper_then_mm=strip.paper_mm,
        paper_now_mm=values.cut.paper_mm,
        roll_then=str(strip.roll or ""),
        roll_now=str(roll or ""),
        tape_now=tape_of(roll),
    )
    return AgainStrip(strip, values.cut, ""), strip_differences(facts, unit)
