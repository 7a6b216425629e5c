"""Which way of laying tape is taught for a goal, with its reasons and what is known about it. The entries are data."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar

from taping.rules.amounts import in_percent
from taping.rules.cautions import Caution
from taping.rules.places import End, Part, Place
from taping.rules.shape_kinds import SHAPES, ShapeKind
from taping.rules.tape import BANDS, Band
from taping.rules.toml_data import load_table, text_of

# A share computed from a piece may miss a taught limit by its last bits only.
_SAME_SHARE = 1e-9

EVIDENCE_ON_DIRECTION = "Direction of application is common teaching without trial proof."


class UnknownGoalError(ValueError):
    """A goal that the rules do not know; the text names it and those they know."""


class UnknownChoiceError(ValueError):
    """A start, direction or shape that the rules do not know; the text names it and those they know."""


class Goal(StrEnum):
    """What the tape is meant to do."""

    EASE_MUSCLE = "ease_muscle"
    SUPPORT_MUSCLE = "support_muscle"
    STEADY_JOINT = "steady_joint"
    EASE_PAIN = "ease_pain"
    MOVE_SWELLING = "move_swelling"


class Start(StrEnum):
    """What is laid first."""

    ONE_END = "one_end"
    CENTRE = "centre"


class Direction(StrEnum):
    """Which way a strip is laid, from its first anchor."""

    TOWARDS_ORIGIN = "towards_origin"
    TOWARDS_INSERTION = "towards_insertion"
    AWAY_FROM_TRUNK = "away_from_trunk"
    NONE = "none"


_Choice = TypeVar("_Choice", bound=StrEnum)


def _chosen(choices: type[_Choice], value: str, name: str) -> _Choice:
    try:
        return choices(value)
    except ValueError:
        raise UnknownChoiceError(f"{value!r} is not a {name}; choose one of {', '.join(choices)}") from None


@dataclass(frozen=True, slots=True)
class FittingShape:
    """A shape that suits a goal, and why."""

    kind: ShapeKind
    reason: str


@dataclass(frozen=True, slots=True)
class Technique:
    """The taught way of laying for one goal; ``low`` and ``high`` are shares of what the tape can give."""

    goal: Goal
    label: str
    words: tuple[str, ...]
    shapes: tuple[FittingShape, ...]
    start: Start
    direction: Direction
    low: float
    high: float
    reasons: tuple[str, ...]
    evidence: str
    source: str

    @property
    def bands(self) -> tuple[Band, ...]:
        """The named bands that its tension runs through."""
        below = (-1.0, *(band.upper_share for band in BANDS))
        return tuple(
            band
            for band, lower in zip(BANDS, below, strict=False)
            if band.upper_share >= self.low and lower < self.high
        )


@dataclass(frozen=True, slots=True)
class LayingStep:
    """One step of laying a strip."""

    key: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class Laying:
    """Where a strip along a place starts and ends; ``first`` is None for the middle or where the therapist chooses."""

    first: End | None
    text: str
    reason: str


def _technique(row: Mapping[str, Any]) -> Technique:
    return Technique(
        goal=Goal(row["key"]),
        label=text_of(row, "label"),
        words=tuple(row["words"]),
        shapes=tuple(FittingShape(ShapeKind(one["shape"]), text_of(one, "reason")) for one in row["shapes"]),
        start=Start(row["start"]),
        direction=Direction(row["direction"]),
        low=float(row["low"]),
        high=float(row["high"]),
        reasons=tuple(row["why"]),
        evidence=text_of(row, "evidence"),
        source=text_of(row, "source"),
    )


TECHNIQUES: Mapping[Goal, Technique] = {one.goal: one for one in map(_technique, load_table("goals")["goal"])}
_STEPS = load_table("laying_steps")["step"]
_STEP_TEXTS: Mapping[str, str] = {text_of(row, "key"): text_of(row, "text") for row in _STEPS}


def technique_for(goal: str) -> Technique:
    """Return what is taught for a goal.

    Raises:
        UnknownGoalError: when there is no such goal.
    """
    try:
        return TECHNIQUES[Goal(goal)]
    except ValueError:
        raise UnknownGoalError(f"{goal!r} is not a goal; choose one of {', '.join(Goal)}") from None


def steps_for(start: Start, kind: ShapeKind) -> tuple[LayingStep, ...]:
    """Return the steps of laying one strip of that shape, in order.

    Raises:
        UnknownChoiceError: for an unknown start or shape, whose steps would be a list with the middle missing.
    """
    begun, shape = _chosen(Start, start, "start"), _chosen(ShapeKind, kind, "shape")
    return tuple(
        LayingStep(text_of(row, "key"), text_of(row, "text"), text_of(row, "source"))
        for row in _STEPS
        if row.get("start", begun) == begun and shape in row.get("shapes", (shape,))
    )


def step_text(key: str) -> str:
    """Return the words of a step by its key; the key itself where the data no longer holds it."""
    return _STEP_TEXTS.get(key, key)


def unusual_choices(technique: Technique, *, kind: ShapeKind, start: Start, share: float) -> tuple[Caution, ...]:
    """Return what in a plan differs from what is taught for its goal; none of it forbids the plan.

    A share that no tape makes (below 0, above 1) is no unusual tension: the cautions about the cut say what it is.

    Raises:
        UnknownChoiceError: for an unknown shape or start.
    """
    kind, start = _chosen(ShapeKind, kind, "shape"), _chosen(Start, start, "start")
    label = technique.label
    found = []
    if kind not in {fitting.kind for fitting in technique.shapes}:
        usual = " or ".join(SHAPES[fitting.kind].label for fitting in technique.shapes)
        found.append(Caution("unusual_shape", f"{SHAPES[kind].label}: to {label}, {usual} is taught."))
    if start is not technique.start:
        usual = "the middle first" if technique.start is Start.CENTRE else "one end first"
        found.append(Caution("unusual_start", f"To {label}, {usual} is taught."))
    if 0 <= share <= 1 and not technique.low - _SAME_SHARE <= share <= technique.high + _SAME_SHARE:
        usual = f"{in_percent(technique.low)} to {in_percent(technique.high)} %"
        text = f"Tension of {in_percent(share)} %: to {label}, {usual} of what the tape can give is taught."
        found.append(Caution("unusual_tension", text))
    return tuple(found)


def laying_for(place: Place, direction: Direction) -> Laying:
    """Return where the first anchor of a strip along ``place`` goes and where the strip ends, with the reason.

    Raises:
        UnknownChoiceError: for an unknown direction.
    """
    direction = _chosen(Direction, direction, "direction")
    marks = place.landmarks
    if direction is Direction.NONE:
        text = f"Lay the middle first, then the ends towards the {marks.upper} and the {marks.lower}."
        return Laying(None, text, "Centre first: neither end pulls on the other.")
    if direction is Direction.AWAY_FROM_TRUNK:
        return _from_trunk(place)
    first = place.origin_at.other if direction is Direction.TOWARDS_ORIGIN else place.origin_at
    start, end = (
        (place.insertion, place.origin) if direction is Direction.TOWARDS_ORIGIN else (place.origin, place.insertion)
    )
    names = ("insertion", "origin") if direction is Direction.TOWARDS_ORIGIN else ("origin", "insertion")
    text = (
        f"First anchor at the {names[0]}, the end nearer the {marks.at(first)}: {start}. "
        f"Last anchor at the {names[1]}, the end nearer the {marks.at(first.other)}: {end}."
    )
    return Laying(first, text, f"From {names[0]} to {names[1]}. {EVIDENCE_ON_DIRECTION}")


def _from_trunk(place: Place) -> Laying:
    reason = f"The base lies on the side of the lymph nodes. {EVIDENCE_ON_DIRECTION}"
    if place.region.part is Part.TRUNK:
        return Laying(None, "Base at the end nearer the lymph nodes that you choose; tails over the swelling.", reason)
    marks = place.landmarks
    text = f"Base at the end nearer the {marks.upper}; tails towards the {marks.lower}, over the swelling."
    return Laying(End.UPPER, text, reason)
