"""What the pictures of taking tape off show: the part of the body, where tape lies on it, and what they say.

The drawings are data (pictures.toml); which end comes first and which way to go is read from the same entry that the
removal sentence is made of, so that picture and words cannot part.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from clinic.rules.tongue import ENGLISH, Tongue
from taping.rules.places import (
    PLACES,
    REGIONS,
    End,
    Place,
    Region,
    Side,
    region_words,
    removal_start,
)
from taping.rules.toml_data import DataError, load_table, text_of

SIZE = 200.0
"""Width and height of every picture, in the units of the data."""

Point = tuple[float, float]
Line = tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Body:
    """A part of the body in outline, of the patient's right. rounds: middle, half width, half height."""

    key: str
    seen: str
    outlines: tuple[Line, ...]
    lines: tuple[Line, ...]
    rounds: tuple[tuple[float, float, float, float], ...]
    tape: float
    hand: float
    source: str


@dataclass(frozen=True, slots=True)
class TapeCourse:
    """How tape lies: from the upper to the lower end on the right side, and on the middle line where there is one."""

    where: str
    body: Body
    line: Line
    middle: Line
    source: str


@dataclass(frozen=True, slots=True)
class RemovalPicture:
    """One of the three pictures: its short sentence, and what a person who cannot see it is told."""

    number: int
    text: str
    told: str


def mirrored(line: Sequence[Point]) -> Line:
    """Return the mirror image of a line: the other side of the body."""
    return tuple((SIZE - x, y) for x, y in line)


def where_of(key: str) -> Region | Place | None:
    """Return the place or region with that key, None where the data know neither."""
    return PLACES.get(key) or REGIONS.get(key)


def region_at(where: Region | Place) -> Region:
    """Return the region that a place lies in, or the region itself."""
    return where.region if isinstance(where, Place) else where


def _points(rows: Sequence[Sequence[float]]) -> Line:
    return tuple((float(x), float(y)) for x, y in rows)


def _outlines(row: Mapping[str, Any], known: Mapping[str, Body]) -> tuple[Line, ...]:
    if "like" in row:
        taken = known[row["like"]].outlines
        return tuple(mirrored(line) for line in taken) if row.get("flip") else taken
    outline = _points(row["outline"])
    if row.get("half"):
        # Both halves meet on the middle line, whose points are not drawn twice.
        outline += tuple(point for point in reversed(mirrored(outline)) if point[0] != SIZE / 2)
    return (*(_points(line) for line in row.get("more", ())), outline)


def _body(row: Mapping[str, Any], known: Mapping[str, Body]) -> Body:
    return Body(
        key=text_of(row, "key"),
        seen=text_of(row, "seen"),
        outlines=_outlines(row, known),
        lines=tuple(_points(line) for line in row.get("lines", ())),
        rounds=tuple((float(x), float(y), float(across), float(high)) for x, y, across, high in row.get("rounds", ())),
        tape=float(row["tape"]),
        hand=float(row["hand"]),
        source=text_of(row, "source"),
    )


def bodies_from(rows: Sequence[Mapping[str, Any]]) -> dict[str, Body]:
    """Return the outlines of the data by key; one may take the outline of an earlier one."""
    found: dict[str, Body] = {}
    for row in rows:
        body = _body(row, found)
        found[body.key] = body
    return found


def courses_from(rows: Sequence[Mapping[str, Any]], bodies: Mapping[str, Body]) -> dict[str, TapeCourse]:
    """Return how tape lies, by region or place.

    Raises:
        DataError: when an entry belongs to no region or place, or is there twice.
    """
    found: dict[str, TapeCourse] = {}
    for row in rows:
        key = text_of(row, "where")
        where = where_of(key)
        if where is None or key in found:
            raise DataError(f"pictures.toml: {key!r} is no region or place, or has a picture already")
        middle = _points(row["middle"]) if "middle" in row else ()
        found[key] = TapeCourse(key, bodies[row["body"]], _points(row["line"]), middle, text_of(row, "source"))
    return found


_DATA = load_table("pictures")
BODIES: Mapping[str, Body] = bodies_from(_DATA["body"])
COURSES: Mapping[str, TapeCourse] = courses_from(_DATA["tape"], BODIES)


def drawn_as(where: Region | Place, side: Side) -> Region | Place:
    """Return what picture and words are of: on the middle line the region, whose places lie beside it."""
    return region_at(where) if side is Side.MIDLINE and not COURSES[where.key].middle else where


def body_for(where: Region | Place, side: Side) -> Body:
    """Return the outline that tape along ``where`` is drawn on."""
    return COURSES[drawn_as(where, side).key].body


def start_first(where: Region | Place, side: Side) -> Line:
    """Return how tape along ``where`` lies on its picture, from the end where it is lifted first.

    Where the hair gives no direction, the line begins at the upper end, and ``removal_start`` says None.
    """
    where = drawn_as(where, side)
    course = COURSES[where.key]
    line = course.middle if side is Side.MIDLINE else course.line
    line = mirrored(line) if side is Side.LEFT else line
    return line[::-1] if removal_start(where) is End.LOWER else line


def removal_pictures(
    where: Region | Place, side: Side, tongue: Tongue = ENGLISH
) -> tuple[RemovalPicture, RemovalPicture, RemovalPicture]:
    """Return the words of the three pictures for a strip along ``where``: where to start, which way, and the hand.

    Raises:
        UnknownSideError: when the region has no such side.
    """
    place, say = region_words(region_at(where).key, side), tongue.say
    where = drawn_as(where, side)
    first, marks = removal_start(where), where.landmarks
    seen = say("{Place}, {seen}.", place=say(place), seen=say(body_for(where, side).seen))
    hold = say("Press the skin down with the flat of the other hand just behind the edge, and let the hand follow it.")
    if first is None:
        texts = (
            say(
                "Stroke the skin along the tape, both ways: start at the end from which it feels smoother, or at "
                "either."
            ),
            say(
                "Go the way that feels smooth: fold the tape back on itself and go low and slow, close to the skin. "
                "Never rip."
            ),
            hold,
        )
        told = (
            say("Both ends of the tape are marked with a question."),
            say("An arrow along the tape, both ways."),
            say(
                "The tape half off, folded back; a flat hand presses down the skin just behind the edge. "
                "From the other end alike."
            ),
        )
    else:
        ends = {"here": say(marks.at(first)), "there": say(marks.at(first.other))}
        texts = (say("Start at the end nearer your {here}.", **ends), _way_text(first, tongue, ends), hold)
        told = (
            say("The end of the tape nearer the {here} is marked: start.", **ends),
            _way_told(first, tongue, ends),
            say(
                "The tape half off, folded back towards the {there}; a flat hand presses down the skin just behind "
                "the edge.",
                **ends,
            ),
        )
    one, two, three = (
        RemovalPicture(number, text, f"{seen} {more}")
        for number, (text, more) in enumerate(zip(texts, told, strict=True), 1)
    )
    return one, two, three


def _way_text(first: End, tongue: Tongue, ends: Mapping[str, str]) -> str:
    if first is End.UPPER:
        return tongue.say(
            "Go down towards the {there}: fold the tape back on itself and go low and slow, close to the skin. "
            "Never rip.",
            **ends,
        )
    return tongue.say(
        "Go up towards the {there}: fold the tape back on itself and go low and slow, close to the skin. Never rip.",
        **ends,
    )


def _way_told(first: End, tongue: Tongue, ends: Mapping[str, str]) -> str:
    if first is End.UPPER:
        return tongue.say("An arrow along the tape, from the {here} down to the {there}.", **ends)
    return tongue.say("An arrow along the tape, from the {here} up to the {there}.", **ends)
