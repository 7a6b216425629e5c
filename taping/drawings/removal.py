"""Taking tape off, in three pictures: where to start, the way to go, and the flat hand that holds the skin.

Black, white and greys only, on a white ground of their own: they read the same on paper, on a dark page and for eyes
that see no colour. The left side is the mirror image of the right; only words are never mirrored.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape

from clinic.rules.tongue import ENGLISH, Tongue
from taping.drawings.curves import along, band, closed, direction, normal, part, polygon, straight
from taping.drawings.svg import element, n
from taping.rules.pictures import (
    SIZE,
    Body,
    Line,
    Point,
    body_for,
    drawn_as,
    mirrored,
    region_at,
    removal_pictures,
    start_first,
)
from taping.rules.places import Place, Region, Side, region_words, removal_start

NUMBERS = (1, 2, 3)
SKIN, EDGE, MARK, TAPE = "#e3e3e3", "#222", "#888", "#444"
PEELED = 0.42
"""How far the tape is off on the third picture, as a share of its length."""

_BESIDE = 14.0

# A flat hand: from the middle of the wrist along the fingers, and sideways; the palm is down. Fractions of its length.
_HAND: Line = (
    (-0.5, -0.15), (0.0, -0.16), (0.3, -0.22), (0.62, -0.2), (0.93, -0.17), (1.0, -0.1), (1.03, 0.0), (0.97, 0.12),
    (0.6, 0.2), (0.5, 0.36), (0.36, 0.45), (0.3, 0.38), (0.28, 0.25), (0.0, 0.17), (-0.5, 0.15),
)  # fmt: skip
_FINGERS: tuple[Line, ...] = (((0.55, -0.1), (0.95, -0.08)), ((0.55, 0.0), (0.98, 0.0)), ((0.55, 0.1), (0.94, 0.07)))


@dataclass(frozen=True, slots=True)
class _Way:
    """known: whether the hair gives a direction; flipped: whether this is the mirror image; tongue: of its words."""

    known: bool
    flipped: bool
    tongue: Tongue


def removal_svg(where: Region | Place, side: Side, number: int, tongue: Tongue = ENGLISH) -> str:
    """Picture `number` (1, 2 or 3) of a strip along `where`, as one SVG with a name and a description.

    Raises UnknownSideError where the region has no such side, IndexError for another number.
    """
    told = removal_pictures(where, side, tongue)[number - 1]
    body, line = body_for(where, side), along(start_first(where, side))
    draw = {1: _where, 2: _way, 3: _hand}[number]
    parts = [
        element("rect", width=SIZE, height=SIZE, fill="#fff"),
        *_body(body, flipped=side is Side.LEFT),
        *draw(line, body, _Way(removal_start(drawn_as(where, side)) is not None, side is Side.LEFT, tongue)),
        _number(number),
        element("rect", x=0.5, y=0.5, width=SIZE - 1, height=SIZE - 1, fill="none", stroke="#777"),
    ]
    place = tongue.say(region_words(region_at(where).key, side))
    name = tongue.say("{place}: picture {number} of {count}", place=place, number=number, count=len(NUMBERS))
    return element(
        "svg",
        element("title", escape(name)) + element("desc", escape(told.told)) + "".join(parts),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {n(SIZE)} {n(SIZE)}",
        role="img",
        font_family="sans-serif",
    )


def _body(body: Body, *, flipped: bool) -> Iterator[str]:
    def turned(points: Sequence[Point]) -> Sequence[Point]:
        return mirrored(points) if flipped else points

    outlines = "".join(element("path", d=closed(turned(outline))) for outline in body.outlines)
    yield element("g", outlines, fill=SKIN, stroke=EDGE, stroke_width=2.0, stroke_linejoin="round")
    inner = [element("path", d=straight(turned(line)), fill="none") for line in body.lines]
    for x, y, across, high in body.rounds:
        ((middle, _),) = turned([(x, y)])
        inner.append(element("ellipse", cx=middle, cy=y, rx=across, ry=high, fill="none"))
    yield element("g", "".join(inner), stroke=MARK, stroke_width=1.5, stroke_linecap="round")


def _tape(line: Line, width: float) -> str:
    return element("path", d=polygon(band(line, width)), fill=TAPE, stroke="#000", class_="tape")


def _where(line: Line, body: Body, way: _Way) -> Iterator[str]:
    """The tape whole, the end to start at marked; both ends with a question where the hair gives no direction."""
    yield _tape(line, body.tape)
    ends = [(line[0], direction(line, 0))]
    if not way.known:
        x, y = direction(line, len(line) - 1)
        ends.append((line[-1], (-x, -y)))
    for point, ahead in ends:
        yield _ring(point, ahead, body.tape)
        yield _label(way.tongue.say("start") if way.known else "?", point, ahead)


def _ring(point: Point, way: Point, width: float) -> str:
    """A white dot with a dark rim on the end of the tape."""
    x, y = point[0] + way[0] * width * 0.45, point[1] + way[1] * width * 0.45
    return element("circle", cx=x, cy=y, r=width * 0.3, fill="#fff", stroke="#000", stroke_width=2.0, class_="start")


def _label(text: str, point: Point, way: Point) -> str:
    """A word on a dark ground beyond the end of the tape, beside it where the picture ends before."""
    high, wide = 22.0, 9.5 * len(text) + 14
    out = high * 0.62 + abs(way[0]) * wide * 0.45
    x, y = point[0] - way[0] * out, point[1] - way[1] * out
    if not high / 2 <= y <= SIZE - high / 2:  # pushed back in it would hide the end it speaks of
        beside = wide / 2 + _BESIDE
        x = point[0] + (beside if point[0] + beside + wide / 2 < SIZE else -beside)
    x = min(max(x, wide / 2 + 4), SIZE - wide / 2 - 4)
    y = min(max(y, high / 2 + 4), SIZE - high / 2 - 4)
    ground = element(
        "rect", x=x - wide / 2, y=y - high / 2, width=wide, height=high, rx=6.0, fill="#000", stroke="#fff"
    )
    word = element("text", escape(text), x=x, y=y + 5.5, font_size=17.0, text_anchor="middle", fill="#fff")
    return ground + word


def _way(line: Line, body: Body, way: _Way) -> Iterator[str]:
    """One arrow along the tape; with a head at both ends where the hair gives no direction."""
    yield _tape(line, body.tape)
    yield _arrow(part(line, 0.06, 0.94), body.tape, both=not way.known)


def _arrow(line: Line, width: float, *, both: bool = False) -> str:
    head = min(0.4, 1.1 * width / _length(line))
    shaft = part(line, head if both else 0.0, 1 - head)
    points = [*_arrow_side(line, shaft, width, both)]
    return element("path", d=polygon(points), fill="#fff", stroke="#000", class_="arrow")


def _arrow_side(line: Line, shaft: Line, width: float, both: bool) -> Iterator[Point]:
    wide, thin = width * 0.42, width * 0.14
    sides = [(point, normal(shaft, index)) for index, point in enumerate(shaft)]
    (x, y), (nx, ny) = sides[-1]
    yield from ((x + nx * thin, y + ny * thin) for (x, y), (nx, ny) in sides)
    yield x + nx * wide, y + ny * wide
    yield line[-1]
    yield x - nx * wide, y - ny * wide
    yield from ((x - nx * thin, y - ny * thin) for (x, y), (nx, ny) in reversed(sides))
    if both:
        (x, y), (nx, ny) = sides[0]
        yield x - nx * wide, y - ny * wide
        yield line[0]
        yield x + nx * wide, y + ny * wide


def _length(line: Line) -> float:
    return sum(math.dist(one, two) for one, two in pairwise(line))


def _hand(line: Line, body: Body, way: _Way) -> Iterator[str]:
    """The tape half off and folded back along itself; the flat hand on the bared skin just behind the edge."""
    bare = polygon(band(part(line, 0.0, PEELED), body.tape))
    yield element("path", d=bare, fill="#fff", fill_opacity=0.5, stroke=EDGE, stroke_dasharray="4 3", class_="bare")
    yield _tape(part(line, PEELED, 1.0), body.tape)
    flap = part(line, PEELED, PEELED + 0.36)
    yield element("path", d=polygon(band(flap, body.tape * 0.86)), fill="#fff", stroke="#000", stroke_width=1.5)
    yield element("path", d=polygon([*_head(flap, body.tape)]), fill="#000", class_="arrow")
    yield _flat_hand(part(line, 0.0, PEELED), body, flipped=way.flipped)
    if not way.known:
        yield _label(way.tongue.say("either end"), (SIZE / 2, SIZE - 15), (0.0, 0.0))


def _head(flap: Line, width: float) -> Iterator[Point]:
    """A solid arrow head on the folded part, pointing the way to go."""
    tip = part(flap, 0.0, 0.92)
    (x, y), (dx, dy), (nx, ny) = tip[-1], direction(tip, len(tip) - 1), normal(tip, len(tip) - 1)
    back = width * 0.62
    yield x, y
    yield x - dx * back + nx * width * 0.34, y - dy * back + ny * width * 0.34
    yield x - dx * back - nx * width * 0.34, y - dy * back - ny * width * 0.34


def _flat_hand(bared: Line, body: Body, *, flipped: bool) -> str:
    """The hand lies across the bared skin; it comes from the nearer side of the picture."""
    edge, way = bared[-1], direction(bared, len(bared) - 1)
    across = normal(bared, len(bared) - 1)
    on_the_left = edge[0] < SIZE / 2 or (edge[0] == SIZE / 2 and flipped)
    if (across[0] > 0) == on_the_left:
        across = (-across[0], -across[1])
    size = body.hand
    palm = edge[1] - across[1] * size
    if not 0 <= palm <= SIZE:  # over a strip that lies near the edge of the picture it comes from the other side
        across = (-across[0], -across[1])
    # The side of the forefinger lies at the edge; the tips reach a little beyond the tape.
    reach = body.tape * 0.75 - size
    behind = -size * 0.26

    def at(point: Point) -> Point:
        long, wide = point[0] * size + reach, behind - point[1] * size
        return (
            edge[0] + across[0] * long + way[0] * wide,
            edge[1] + across[1] * long + way[1] * wide,
        )

    lines = "".join(element("path", d=straight([at(one) for one in finger]), fill="none") for finger in _FINGERS)
    shape = element("path", d=closed([at(point) for point in _HAND]), fill="#fff", class_="hand")
    return element("g", shape + lines, stroke="#000", stroke_width=1.8, stroke_linecap="round")


def _number(number: int) -> str:
    ground = element("circle", cx=19.0, cy=19.0, r=13.0, fill="#fff", stroke="#000", stroke_width=1.5)
    return ground + element(
        "text", str(number), x=19.0, y=25.0, font_size=17.0, font_weight="700", text_anchor="middle", fill="#000"
    )
