"""Where tape goes: the parts of the body, and the muscles and tendons that strips follow. The entries are data."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from clinic.rules.tongue import ENGLISH, Tongue
from taping.rules.toml_data import DataError, load_table, text_of

# Said beside every removal sentence: the direction of hair differs between people, and the skin itself tells.
REMOVAL_CHECK = "Stroke the skin first: the way that feels smooth is the way to go."


class UnknownRegionError(ValueError):
    """A region that the data do not know; the text names it and those they know."""


class UnknownPlaceError(ValueError):
    """A muscle or tendon that the data do not know; the text names it and those they know."""


class UnknownSideError(ValueError):
    """A side that the region does not have."""


class Side(StrEnum):
    """The patient's own left and right; midline is the middle of the body."""

    LEFT = "left"
    RIGHT = "right"
    MIDLINE = "midline"


class Hair(StrEnum):
    """Which way the hair lies along a strip."""

    DOWN = "down"
    UP = "up"
    NONE = "none"


class View(StrEnum):
    """From where the body picture shows a region."""

    FRONT = "front"
    BACK = "back"
    SIDE = "side"


class Axis(StrEnum):
    """Which way a region runs on its picture, from its upper to its lower end."""

    DOWN = "down"
    ACROSS = "across"


class Part(StrEnum):
    """Whether a region has a trunk side at all."""

    LIMB = "limb"
    TRUNK = "trunk"


class End(StrEnum):
    """One end of a strip along a region or place."""

    UPPER = "upper"
    LOWER = "lower"

    @property
    def other(self) -> "End":
        """The opposite end."""
        return End.LOWER if self is End.UPPER else End.UPPER


@dataclass(frozen=True, slots=True)
class Landmarks:
    """What lies at both ends, in a patient's words, and how the hair lies between them."""

    upper: str
    lower: str
    hair: Hair
    hair_note: str
    hair_source: str

    def at(self, end: End) -> str:
        """Return the landmark at ``end``."""
        return self.upper if end is End.UPPER else self.lower


@dataclass(frozen=True, slots=True)
class Region:
    """A part of the body: one screen, one application. ``said`` is its name with a side, for ``region_words``."""

    key: str
    label: str
    said: str
    part: Part
    sides: tuple[Side, ...]
    view: View
    axis: Axis
    landmarks: Landmarks
    care: str
    source: str


@dataclass(frozen=True, slots=True)
class Place:
    """A muscle, tendon, ligament or fascia; ``origin_at`` is the end of a strip along it where its origin lies."""

    key: str
    region: Region
    kind: str
    plain: str
    clinical: str
    origin: str
    insertion: str
    origin_at: End
    landmarks: Landmarks
    care: str
    source: str


def _landmarks(row: Mapping[str, Any]) -> Landmarks:
    return Landmarks(
        upper=text_of(row, "upper"),
        lower=text_of(row, "lower"),
        hair=Hair(row["hair"]),
        hair_note=text_of(row, "hair_note", default=""),
        hair_source=text_of(row, "hair_source"),
    )


def _region(row: Mapping[str, Any]) -> Region:
    return Region(
        key=text_of(row, "key"),
        label=text_of(row, "label"),
        said=text_of(row, "said", default=f"{{side}} {row['label']}"),
        part=Part(row["part"]),
        sides=tuple(Side(side) for side in row["sides"]),
        view=View(row["view"]),
        axis=Axis(row["axis"]),
        landmarks=_landmarks(row),
        care=text_of(row, "care", default=""),
        source=text_of(row, "source"),
    )


def _place(row: Mapping[str, Any], regions: Mapping[str, Region]) -> Place:
    words = {
        field: text_of(row, field) for field in ("key", "kind", "plain", "clinical", "origin", "insertion", "source")
    }
    return Place(
        region=regions[row["region"]],
        origin_at=End(row["origin_at"]),
        landmarks=_landmarks(row),
        care=text_of(row, "care", default=""),
        **words,
    )


def _by_key(found: list[Any], file: str) -> dict[str, Any]:
    keyed = {entry.key: entry for entry in found}
    if len(keyed) < len(found):
        raise DataError(f"{file}.toml has a key twice")
    return keyed


REGIONS: Mapping[str, Region] = _by_key([_region(row) for row in load_table("regions")["region"]], "regions")
PLACES: Mapping[str, Place] = _by_key([_place(row, REGIONS) for row in load_table("places")["place"]], "places")


def region_of(key: str) -> Region:
    """Return the region with that key.

    Raises:
        UnknownRegionError: when there is none.
    """
    try:
        return REGIONS[key]
    except (KeyError, TypeError):
        raise UnknownRegionError(f"{key!r} is not a region; choose one of {', '.join(REGIONS)}") from None


def place_of(key: str) -> Place:
    """Return the muscle, tendon or ligament with that key.

    Raises:
        UnknownPlaceError: when there is none.
    """
    try:
        return PLACES[key]
    except (KeyError, TypeError):
        raise UnknownPlaceError(f"{key!r} is not a place; choose one of {', '.join(PLACES)}") from None


def places_in(region: str) -> tuple[Place, ...]:
    """Return the places of a region, in the order of the data; a region may have none.

    Raises:
        UnknownRegionError: when there is no such region.
    """
    wanted = region_of(region)
    return tuple(place for place in PLACES.values() if place.region is wanted)


def region_words(region: str, side: str) -> str:
    """Return a region and side as they are said: "left knee", "front of the left thigh", "lower back".

    Raises:
        UnknownRegionError: when there is no such region.
        UnknownSideError: when the region has no such side.
    """
    wanted = region_of(region)
    if side not in wanted.sides:
        raise UnknownSideError(f"{wanted.label} has no side {side!r}; choose one of {', '.join(wanted.sides)}")
    return wanted.label if side == Side.MIDLINE else wanted.said.format(side=Side(side))


def removal_start(where: Region | Place) -> End | None:
    """Return the end where tape along ``where`` is lifted first, or None where the hair gives no direction."""
    return {Hair.DOWN: End.UPPER, Hair.UP: End.LOWER, Hair.NONE: None}[where.landmarks.hair]


def removal_sentence(where: Region | Place, tongue: Tongue = ENGLISH) -> str:
    """Return, for the patient, where to start taking the tape off and which way to go: the way the hair lies."""
    first = removal_start(where)
    marks = where.landmarks
    if first is None:
        return tongue.say(
            "Between your {upper} and your {lower} the hair has no one direction along the tape: "
            "stroke the skin both ways, and start at the end from which it feels smoother, or at either if there is "
            "no difference.",
            upper=tongue.say(marks.upper),
            lower=tongue.say(marks.lower),
        )
    here, there = tongue.say(marks.at(first)), tongue.say(marks.at(first.other))
    if first is End.UPPER:
        return tongue.say(
            "Start at the end nearer your {here} and go down towards the {there}.", here=here, there=there
        )
    return tongue.say("Start at the end nearer your {here} and go up towards the {there}.", here=here, there=there)
