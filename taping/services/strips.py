"""A strip as it was chosen, and everything a page says about it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from taping.models import Strip, TapeRoll
from taping.rules.cautions import Caution
from taping.rules.cut import (
    Cut,
    ImpossibleCut,
    ShareRange,
    cautions_for,
    cut_by_fraction,
    cut_for_stretch,
    cut_of_length,
    share_range,
)
from taping.rules.cut_reading import reasons_for
from taping.rules.lengths import Unit
from taping.rules.places import PLACES
from taping.rules.shape_kinds import SHAPES, ShapeKind
from taping.rules.shapes import Shape, shape_for
from taping.rules.skin import Answer
from taping.rules.tape import Band, Tape
from taping.rules.technique import (
    Direction,
    Laying,
    LayingStep,
    Start,
    laying_for,
    steps_for,
    technique_for,
    unusual_choices,
)

ROUGH_TAPE = Tape()
"""What is reckoned with until the clinic has measured a roll of its own."""


@dataclass(frozen=True, slots=True)
class StripValues:
    """One strip as the therapist chose it, with the cut that the rules computed for it. place: a key, or ""."""

    shape: ShapeKind
    start: Start
    direction: Direction
    cut: Cut
    place: str = ""
    tails: int | None = None
    roll: TapeRoll | None = None
    off_paper: bool = False

    @property
    def tape(self) -> Tape:
        return tape_of(self.roll)


@dataclass(frozen=True, slots=True)
class StripResult:
    """What a page shows of a strip, its sentences in the clinic's unit.

    habit: what the 80 % cut makes, with habit_cautions; or None, and then habit_why says why not.
    """

    values: StripValues
    shape: Shape
    range: ShareRange
    habit: Cut | None
    habit_why: str
    habit_cautions: tuple[Caution, ...]
    cautions: tuple[Caution, ...]
    sums: tuple[str, ...]
    laying: Laying | None
    steps: tuple[LayingStep, ...]
    measured: bool

    @property
    def cut(self) -> Cut:
        return self.values.cut

    @property
    def band(self) -> Band | None:
        """The tension's name; None where the range leaves what tape can be, since one name would hide that."""
        return self.cut.band if self.range.low >= 0 and self.range.high <= 1 else None

    @property
    def zone_relaxed_mm(self) -> float:
        """How long the zone's tape is with no stretch at all."""
        return self.cut.zone_mm / (1 + self.cut.stretch)

    @property
    def label(self) -> str:
        return SHAPES[self.values.shape].label


def tape_of(roll: TapeRoll | None) -> Tape:
    return roll.tape if roll is not None else ROUGH_TAPE


def strip_result(
    values: StripValues,
    *,
    goal: str,
    region: str = "",
    answers: Mapping[str, str] | None = None,
    unit: Unit = Unit.MM,
) -> StripResult:
    """Work everything out from the values. answers: of the plan's screen. Raises UnfitShapeError, BadNumberError."""
    cut, tape = values.cut, values.tape
    habit, why = _habit(values, unit)
    cautions = (
        *cautions_for(cut, tape, **_whose(region, answers or {})),
        *unusual_choices(technique_for(goal), kind=values.shape, start=values.start, share=cut.share),
    )
    return StripResult(
        values=values,
        shape=shape_for(values.shape, cut, tape, tails=values.tails),
        range=share_range(cut, tape),
        habit=habit,
        habit_why=why,
        habit_cautions=in_unit(habit.cautions if habit else (), unit),
        cautions=in_unit(cautions, unit),
        sums=reasons_for(cut, tape, unit),
        laying=laying_for(PLACES[values.place], values.direction) if values.place in PLACES else None,
        steps=steps_for(values.start, values.shape),
        measured=values.roll is not None and values.roll.measured_at is not None,
    )


def in_unit(cautions: tuple[Caution, ...], unit: Unit) -> tuple[Caution, ...]:
    """The same cautions with the lengths of their texts in that unit."""
    return tuple(one.in_unit(unit) for one in cautions)


def _habit(values: StripValues, unit: Unit) -> tuple[Cut | None, str]:
    cut = values.cut
    try:
        return cut_by_fraction(cut.span_mm, values.tape, anchors_mm=cut.anchors_mm, off_paper=values.off_paper), ""
    except ImpossibleCut as impossible:
        return None, impossible.reason_in(unit)


def _whose(region: str, answers: Mapping[str, str]) -> dict[str, bool]:
    yes = {key for key, answer in answers.items() if answer in (Answer.YES, Answer.NOT_KNOWN)}
    return {"fragile_skin": "fragile_skin" in yes, "child": "child" in yes, "neck": region == "neck"}


def values_of(strip: Strip) -> StripValues:
    """A stored strip as values again; the cut is read back from its paper length."""
    cut = cut_of_length(strip.span_mm, strip.paper_mm, tape_of(strip.roll), _anchors(strip), off_paper=strip.off_paper)
    return _with_cut(strip, cut)


def values_again(strip: Strip, *, roll: TapeRoll | None) -> StripValues:
    """The same strip for a new piece of that roll: the same span and tension, cut anew. Raises ImpossibleCut."""
    share = min(max(strip.share, 0.0), 1.0)
    cut = cut_for_stretch(strip.span_mm, share, tape_of(roll), _anchors(strip), off_paper=strip.off_paper)
    return replace(_with_cut(strip, cut), roll=roll)


def roll_again(strip: Strip, rolls: list[TapeRoll]) -> TapeRoll | None:
    """The roll a strip is cut from again: its own while it is in use, else the first of rolls, those in use."""
    if strip.roll is None or strip.roll in rolls:
        return strip.roll
    return rolls[0] if rolls else None


def _anchors(strip: Strip) -> tuple[float, float]:
    return strip.anchor_first_mm, strip.anchor_last_mm


def _with_cut(strip: Strip, cut: Cut) -> StripValues:
    return StripValues(
        shape=ShapeKind(strip.shape),
        start=Start(strip.start),
        direction=Direction(strip.direction),
        cut=cut,
        place=strip.place,
        tails=strip.tails,
        roll=strip.roll,
        off_paper=strip.off_paper,
    )


def strip_numbers(values: StripValues) -> dict[str, Any]:
    """The values under the names of Strip's fields."""
    first, last = values.cut.anchors_mm
    return {
        "shape": values.shape.value,
        "place": values.place,
        "tails": values.tails or SHAPES[values.shape].tails,
        "start": values.start.value,
        "direction": values.direction.value,
        "roll": values.roll,
        "off_paper": values.off_paper,
        "span_mm": values.cut.span_mm,
        "paper_mm": values.cut.paper_mm,
        "anchor_first_mm": first,
        "anchor_last_mm": last,
        "stretch": values.cut.stretch,
        "share": values.cut.share,
    }
