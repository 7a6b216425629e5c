"""The strip, to scale: the piece as it lies on the table, and beneath it the same piece on the skin.

One user unit is one millimetre, in both pieces, so that they can be compared by eye.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from taping.drawings.svg import box, path, picture, words
from taping.rules.cut import Cut
from taping.rules.lengths import MM_PER_INCH, Unit, format_length
from taping.rules.shape_kinds import SHAPES
from taping.rules.shapes import Shape
from taping.rules.technique import Start

MARGIN_MM = 10.0
SLIT_MM = 2.0
"""How wide a slit is drawn: the one thing that is not to scale, since a real one has no width."""

ZONE_STRENGTH = 0.28
RULER_STEPS = (1, 2, 5, 10, 20, 50, 100, 1000, 100_000)
PART_NAMES = ("anchor", "zone", "anchor")
LETTERS_A_LINE = 34
"""How many times the size of the letters goes into the drawing's width: at 360 px they are 10 px high."""


@dataclass(frozen=True, slots=True)
class StripDrawing:
    """What is drawn. key tells this drawing from others on the page."""

    cut: Cut
    shape: Shape
    start: Start
    unit: Unit
    key: str = "strip"


@dataclass(frozen=True, slots=True)
class _Piece:
    """One way the piece lies: where its parts begin and end along it, in millimetres, and its width."""

    marks: tuple[float, float, float, float]
    place: Callable[[float], float]
    top: float
    name: str


def strip_svg(drawing: StripDrawing) -> str:
    """The drawing as one SVG element with its title and description; the same numbers belong in a table beside it."""
    cut, shape = drawing.cut, drawing.shape
    width = max(cut.paper_mm, cut.span_mm) + 2 * MARGIN_MM
    size = width / LETTERS_A_LINE
    line = size * 1.35
    table_top = 2.6 * line + size
    squares_top = table_top + shape.width_mm + size * 0.5
    table_end = squares_top + size * 0.6 + 3 * line
    skin_top = table_end + 2.2 * line
    height = skin_top + shape.width_mm + 4.6 * line
    parts = [
        words(f"On the table: cut {_length(drawing, cut.paper_mm)}", MARGIN_MM, line, size, bold=True),
        *_ruler(drawing, table_top - size * 0.5, size),
        *_piece(shape, _on_table(cut, table_top)),
        *_tear_marks(cut, table_top, size),
        _cut_line(cut, table_top, shape.width_mm, size),
        *_squares(shape, squares_top, size * 0.6),
        *_table_words(drawing, squares_top + size * 0.6 + line, size, line),
        words(f"On the skin, over {_length(drawing, cut.span_mm)}", MARGIN_MM, skin_top - line * 0.6, size, bold=True),
        *_piece(shape, _on_skin(cut, skin_top)),
        *_skin_words(drawing, skin_top + shape.width_mm, size, line),
    ]
    return picture(parts, size=(width, height), title=_title(drawing), told=_told(drawing), key=drawing.key)


def _on_table(cut: Cut, top: float) -> _Piece:
    first, last = cut.tear_marks_mm
    return _Piece((0.0, first, cut.paper_mm - last, cut.paper_mm), lambda x: x, top, "paper")


def _on_skin(cut: Cut, top: float) -> _Piece:
    first, last = cut.anchors_mm
    table = _on_table(cut, top).marks
    marks = (0.0, first, cut.span_mm - last, cut.span_mm)

    def place(x: float) -> float:
        for (from_x, to_x), (from_s, to_s) in zip(pairwise(table), pairwise(marks), strict=True):
            if x <= to_x:
                return from_s + (x - from_x) / (to_x - from_x) * (to_s - from_s)
        return cut.span_mm

    return _Piece(marks, place, top, "skin")


def _piece(shape: Shape, piece: _Piece) -> Iterator[str]:
    table = (0.0, shape.anchors_mm[0], shape.length_mm - shape.anchors_mm[1], shape.length_mm)
    for number, (from_x, to_x) in enumerate(pairwise(table)):
        strength = ZONE_STRENGTH if PART_NAMES[number] == "zone" else 1.0
        name = f"{piece.name}-{PART_NAMES[number]}"
        ends = (number == 0, number == 2)
        for low, high in _strands(shape, from_x, to_x):
            outline = _outline(piece, (piece.place(from_x), piece.place(to_x)), (low, high), shape.corner_mm, ends)
            holes = "".join(_hole(shape, piece) for _ in shape.holes) if PART_NAMES[number] == "zone" else ""
            yield path(outline + holes, strength=strength, name=name, fill_rule="evenodd")


def _strands(shape: Shape, from_x: float, to_x: float) -> Iterator[tuple[float, float]]:
    middle = (from_x + to_x) / 2
    cuts = sorted(slit.y_mm for slit in shape.slits if slit.from_mm <= middle <= slit.to_mm)
    edges = [0.0, *cuts, shape.width_mm]
    for low, high in pairwise(edges):
        yield (
            low + (SLIT_MM / 2 if low > 0 else 0.0),
            high - (SLIT_MM / 2 if high < shape.width_mm else 0.0),
        )


def _outline(
    piece: _Piece, along: tuple[float, float], across: tuple[float, float], corner: float, ends: tuple[bool, bool]
) -> str:
    left, right = (MARGIN_MM + x for x in along)
    top, bottom = (piece.top + y for y in across)
    most = min(corner, (bottom - top) / 2, right - left)
    a, b = (most if ends[0] else 0.0), (most if ends[1] else 0.0)
    return (
        f"M{left + a:.2f} {top:.2f}H{right - b:.2f}Q{right:.2f} {top:.2f} {right:.2f} {top + b:.2f}"
        f"V{bottom - b:.2f}Q{right:.2f} {bottom:.2f} {right - b:.2f} {bottom:.2f}"
        f"H{left + a:.2f}Q{left:.2f} {bottom:.2f} {left:.2f} {bottom - a:.2f}"
        f"V{top + a:.2f}Q{left:.2f} {top:.2f} {left + a:.2f} {top:.2f}Z"
    )


def _hole(shape: Shape, piece: _Piece) -> str:
    hole = shape.holes[0]
    left, right = (MARGIN_MM + piece.place(hole.x_mm + sign * hole.diameter_mm / 2) for sign in (-1, 1))
    across, high, y = (right - left) / 2, hole.diameter_mm / 2, piece.top + hole.y_mm
    arc = f"a{across:.2f} {high:.2f} 0 1 0"
    return f"M{left:.2f} {y:.2f}{arc} {right - left:.2f} 0{arc} {left - right:.2f} 0Z"


def _ruler(drawing: StripDrawing, base: float, size: float) -> Iterator[str]:
    """Ticks every centimetre or half inch; numbers a good word's width apart, however long the strip is."""
    step, ticks = (MM_PER_INCH / 2, 2) if drawing.unit is Unit.INCH else (10.0, 1)
    apart = next(many for many in RULER_STEPS if many * ticks * step >= size * 3)
    for tick in range(int(drawing.cut.paper_mm / step + 1e-9) + 1):
        number, part = divmod(tick, ticks)
        x, high = MARGIN_MM + tick * step, size * (0.35 if part else 0.7)
        yield box(x - size * 0.03, base - high, size * 0.06, high, strength=0.8)
        if not part and number % apart == 0:
            yield words(str(number), x, base - size * 0.9, size * 0.75, anchor="middle")
    yield box(MARGIN_MM, base, drawing.cut.paper_mm, size * 0.06, strength=0.8, name="ruler")


def _squares(shape: Shape, top: float, high: float) -> Iterator[str]:
    """The printed squares as a bar of dark and light fields; the last one may be a part of a square."""
    at, number = 0.0, 0
    while at < shape.length_mm - 1e-9:
        wide = min(shape.square_mm, shape.length_mm - at)
        yield box(MARGIN_MM + at, top, wide, high, strength=0.75 if number % 2 == 0 else 0.18, name="square")
        at, number = at + shape.square_mm, number + 1


def _tear_marks(cut: Cut, top: float, size: float) -> Iterator[str]:
    first, last = cut.tear_marks_mm
    for x in (first, cut.paper_mm - last):
        left = MARGIN_MM + x
        yield path(f"M{left:.2f} {top:.2f}l{-size * 0.35:.2f} {-size * 0.45:.2f}h{size * 0.7:.2f}Z", name="tear-mark")


def _cut_line(cut: Cut, top: float, width: float, size: float) -> str:
    return box(MARGIN_MM + cut.paper_mm, top - size * 0.5, size * 0.12, width + size, name="cut-line")


def _table_words(drawing: StripDrawing, y: float, size: float, line: float) -> Iterator[str]:
    cut = drawing.cut
    end = MARGIN_MM + cut.paper_mm
    first, last = cut.tear_marks_mm
    relaxed_zone = cut.zone_mm / (1 + cut.stretch)
    yield words(f"tear {_length(drawing, first)}", MARGIN_MM, y, size)
    yield words(f"tear {_length(drawing, last)}", end, y, size, anchor="end")
    yield words(
        f"zone, relaxed: {_length(drawing, relaxed_zone)}", (MARGIN_MM + end) / 2, y + line, size, anchor="middle"
    )


def _skin_words(drawing: StripDrawing, bottom: float, size: float, line: float) -> Iterator[str]:
    cut = drawing.cut
    first, last = cut.anchors_mm
    end = MARGIN_MM + cut.span_mm
    yield box(MARGIN_MM, bottom + size * 0.25, cut.span_mm, size * 0.08, name="span")
    yield words(f"anchor {_length(drawing, first)}", MARGIN_MM, bottom + line * 1.3, size)
    yield words(f"anchor {_length(drawing, last)}", end, bottom + line * 1.3, size, anchor="end")
    middle = MARGIN_MM + first + cut.zone_mm / 2
    yield words(
        f"zone, on the skin: {_length(drawing, cut.zone_mm)}", middle, bottom + line * 2.3, size, anchor="middle"
    )
    at, side = (middle, "middle") if drawing.start is Start.CENTRE else (MARGIN_MM + first / 2, "left end")
    yield path(
        f"M{at:.2f} {bottom + size * 0.25:.2f}l{-size * 0.4:.2f} {size * 0.5:.2f}h{size * 0.8:.2f}Z", name="first"
    )
    yield words(f"▲ lay the {side} first, ends without stretch", MARGIN_MM, bottom + line * 3.4, size)


def _length(drawing: StripDrawing, length_mm: float) -> str:
    return format_length(length_mm, drawing.unit)


def _title(drawing: StripDrawing) -> str:
    return f"{SHAPES[drawing.shape.kind].label}, {_length(drawing, drawing.cut.paper_mm)} of paper, to scale"


def _told(drawing: StripDrawing) -> str:
    cut = drawing.cut
    anchors, tears = cut.anchors_mm, cut.tear_marks_mm
    first = "the middle" if drawing.start is Start.CENTRE else "the first end"
    slits = f" {len(drawing.shape.slits)} slits." if drawing.shape.slits else ""
    hole = " A hole in the middle." if drawing.shape.holes else ""
    return (
        f"Above, the piece on its backing, {cut.squares:.1f} printed squares long, to be torn "
        f"{_length(drawing, tears[0])} and {_length(drawing, tears[1])} from its ends.{slits}{hole} "
        f"Beneath, the same piece over a span of {_length(drawing, cut.span_mm)}: anchors of "
        f"{_length(drawing, anchors[0])} and {_length(drawing, anchors[1])} without stretch, and between them "
        f"{_length(drawing, cut.zone_mm)} of zone, {_length(drawing, cut.zone_mm / (1 + cut.stretch))} relaxed. "
        f"Lay {first} first."
    )
