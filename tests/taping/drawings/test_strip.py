"""The drawing of a strip is to scale, well-formed, and says in words what it shows."""

from itertools import pairwise
from re import findall
from xml.etree import ElementTree

import pytest

from taping.drawings.strip import MARGIN_MM, StripDrawing, strip_svg
from taping.rules.cut import Cut, cut_for_stretch
from taping.rules.lengths import Unit
from taping.rules.shape_kinds import ShapeKind
from taping.rules.shapes import shape_for
from taping.rules.tape import Tape
from taping.rules.technique import Start

SVG = "{http://www.w3.org/2000/svg}"
TAPE = Tape()


def draw(
    cut: Cut, kind: ShapeKind = ShapeKind.I, unit: Unit = Unit.CM, start: Start = Start.ONE_END
) -> ElementTree.Element:
    return ElementTree.fromstring(strip_svg(StripDrawing(cut, shape_for(kind, cut, TAPE), start, unit, "one")))


def reach(outline: str) -> tuple[float, float]:
    """The least and greatest x of an outline made of absolute M, H and Q commands."""
    numbers = []
    for letter, told in findall(r"([MHQV])([^MHQVZ]*)", outline.partition("Z")[0]):
        points = [float(number) for number in told.split()]
        numbers += [] if letter == "V" else points[::2]
    return min(numbers), max(numbers)


def parts(drawing: ElementTree.Element, name: str) -> list[tuple[float, float]]:
    return [reach(one.attrib["d"]) for one in drawing.iter(f"{SVG}path") if one.get("class") == name]


def words(drawing: ElementTree.Element) -> list[str]:
    return [one.text or "" for one in drawing.iter(f"{SVG}text")]


@pytest.mark.parametrize(
    ("span", "share", "anchors"), [(300, 0.625, (50, 50)), (180, 0.1, (30, 60)), (900, 1, (50, 40))]
)
def test_parts_are_as_long_as_their_numbers(span: float, share: float, anchors: tuple[float, float]) -> None:
    cut = cut_for_stretch(span, share, TAPE, anchors)
    drawing = draw(cut)
    first, last = cut.tear_marks_mm
    table = [0, first, cut.paper_mm - last, cut.paper_mm]
    skin = [0, anchors[0], span - anchors[1], span]
    for name, marks in (("paper", table), ("skin", skin)):
        drawn = sorted([*parts(drawing, f"{name}-anchor"), *parts(drawing, f"{name}-zone")])
        expected = [(MARGIN_MM + left, MARGIN_MM + right) for left, right in pairwise(marks)]
        assert drawn == [pytest.approx(one, abs=0.01) for one in expected]


def test_squares_fill_the_paper() -> None:
    cut = cut_for_stretch(300, 0.625, TAPE)
    squares = [one for one in draw(cut).iter(f"{SVG}rect") if one.get("class") == "square"]
    widths = [float(one.attrib["width"]) for one in squares]
    assert widths[:-1] == [50.0] * 5
    assert sum(widths) == pytest.approx(cut.paper_mm, abs=0.01)


@pytest.mark.parametrize(
    ("kind", "zones", "anchors"),
    [("i", 1, 2), ("y", 2, 3), ("x", 1, 4), ("fan", 4, 5), ("web", 4, 2), ("donut", 1, 2)],
)
def test_slits_part_the_strands(kind: str, zones: int, anchors: int) -> None:
    drawing = draw(cut_for_stretch(300, 0.2, TAPE), ShapeKind(kind))
    assert (len(parts(drawing, "paper-zone")), len(parts(drawing, "paper-anchor"))) == (zones, anchors)
    assert (len(parts(drawing, "skin-zone")), len(parts(drawing, "skin-anchor"))) == (zones, anchors)


def test_donut_has_its_hole_in_both_pieces() -> None:
    text = strip_svg(
        StripDrawing(
            cut := cut_for_stretch(200, 0.2, TAPE), shape_for(ShapeKind.DONUT, cut, TAPE), Start.CENTRE, Unit.CM
        )
    )
    assert text.count("a12.50 12.50") == 2  # two arcs, a true circle of 25 mm on the table
    assert "A hole in the middle." in text


@pytest.mark.parametrize("kind", list(ShapeKind))
@pytest.mark.parametrize("unit", [Unit.CM, Unit.INCH])
def test_nothing_is_styled_in_the_element(kind: ShapeKind, unit: Unit) -> None:
    drawing = draw(cut_for_stretch(250, 0.3, TAPE), kind, unit)
    assert not [one for one in drawing.iter() if "style" in one.attrib or one.tag == f"{SVG}style"]
    assert not [one for one in drawing.iter() if any(key.startswith("on") for key in one.attrib)]


def test_picture_has_a_name_and_tells_its_numbers() -> None:
    drawing = draw(cut_for_stretch(300, 0.625, TAPE))
    title, told = drawing.find(f"{SVG}title"), drawing.find(f"{SVG}desc")
    assert title is not None
    assert told is not None
    assert drawing.get("role") == "img"
    assert drawing.get("aria-labelledby") == f"{title.get('id')} {told.get('id')}" == "one-title one-told"
    assert title.text == "I strip, 28.6 cm of paper, to scale"
    assert "over a span of 30.0 cm" in (told.text or "")


def test_labels_carry_units_and_what_comes_first() -> None:
    found = words(draw(cut_for_stretch(300, 0.625, TAPE)))
    assert "On the table: cut 28.6 cm" in found
    assert "zone, relaxed: 16.0 cm" in found
    assert "zone, on the skin: 20.0 cm" in found
    assert "▲ lay the left end first, ends without stretch" in found
    centre = words(draw(cut_for_stretch(300, 0.2, TAPE), start=Start.CENTRE))
    assert "▲ lay the middle first, ends without stretch" in centre


def test_inches_are_read_in_sixteenths() -> None:
    found = words(draw(cut_for_stretch(304.8, 0.5, TAPE), unit=Unit.INCH))
    assert "On the skin, over 12 in" in found
    assert [word for word in found if word.isdecimal()] == ["0", "2", "4", "6", "8", "10"]


@pytest.mark.parametrize("span", [110, 300, 900, 2000])
def test_ruler_numbers_never_touch(span: float) -> None:
    drawing = draw(cut_for_stretch(span, 0.2, TAPE, (40, 40)))
    size = float(next(one for one in drawing.iter(f"{SVG}text")).attrib["font-size"])
    numbers = [float(one.attrib["x"]) for one in drawing.iter(f"{SVG}text") if (one.text or "").isdecimal()]
    assert len(numbers) > 1
    assert min(right - left for left, right in pairwise(numbers)) >= size * 2.9
