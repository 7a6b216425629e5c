"""Each picture shows the part of the body, its own side, and the same start and way that the words give."""

from math import dist
from re import findall
from xml.etree import ElementTree

import pytest
from fontTools.ttLib import TTFont

from clinic.rules.tongue import LANGUAGES, tongue_of
from taping.drawings.curves import along, band, part
from taping.drawings.removal import NUMBERS, removal_svg
from taping.rules.pictures import SIZE, Line, body_for, drawn_as, mirrored, start_first
from taping.rules.places import PLACES, REGIONS, Place, Region, Side, UnknownSideError, removal_start

SVG = "{http://www.w3.org/2000/svg}"
EVERY = [(where, side) for where in REGIONS.values() for side in where.sides] + [
    (where, side) for where in PLACES.values() for side in where.region.sides
]
PAIRED = [where for where, side in EVERY if side is Side.LEFT]


def draw(where: Region | Place, side: Side, number: int) -> ElementTree.Element:
    return ElementTree.fromstring(removal_svg(where, side, number))


def points_of(drawing: ElementTree.Element, name: str) -> list[tuple[float, float]]:
    """The points of the first shape of that class."""
    shape = next(one for one in drawing.iter() if one.get("class") == name)
    numbers = [float(word) for word in findall(r"-?\d+", shape.get("d", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def middle_of(points: list[tuple[float, float]]) -> tuple[float, float]:
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)


def barbs_of(arrow: list[tuple[float, float]], line: Line, width: float) -> list[tuple[float, float]]:
    """The points of an arrow that lie far to the side of the line it follows: the barbs of its heads."""
    smooth = along(line)
    fine = [part(smooth, 0.0, step / 200)[-1] for step in range(201)]
    return [point for point in arrow if min(dist(point, spot) for spot in fine) > width * 0.3]


def words_of(drawing: ElementTree.Element) -> list[str]:
    return ["".join(word.itertext()) for word in drawing.iter(f"{SVG}text")]


@pytest.mark.parametrize(("where", "side"), EVERY, ids=lambda value: getattr(value, "key", str(value)))
class TestEveryRegionAndPlaceOnEverySide:
    def test_the_start_is_marked_at_the_end_that_the_words_name(self, where: Region | Place, side: Side) -> None:
        drawing = draw(where, side, 1)
        dots = [(float(dot.get("cx", 0)), float(dot.get("cy", 0))) for dot in drawing.iter(f"{SVG}circle")]
        starts = [dot for dot, one in zip(dots, drawing.iter(f"{SVG}circle"), strict=True) if one.get("class")]
        first, last = start_first(where, side)[0], start_first(where, side)[-1]
        if removal_start(drawn_as(where, side)) is None:
            assert (len(starts), words_of(drawing)) == (2, ["?", "?", "1"])
            return
        assert words_of(drawing) == ["start", "1"]
        ((x, y),) = starts
        near, far = ((x - ex) ** 2 + (y - ey) ** 2 for ex, ey in (first, last))
        assert near < far

    def test_no_word_hides_the_end_that_it_speaks_of(self, where: Region | Place, side: Side) -> None:
        drawing = draw(where, side, 1)
        rings = [ring for ring in drawing.iter(f"{SVG}circle") if ring.get("class") == "start"]
        grounds = [ground for ground in drawing.iter(f"{SVG}rect") if ground.get("rx")]
        assert len(rings) == len(grounds)
        for ring in rings:
            x, y = float(ring.get("cx", 0)), float(ring.get("cy", 0))
            for ground in grounds:
                left, top, wide, high = (float(ground.get(name, 0)) for name in ("x", "y", "width", "height"))
                assert not (left <= x <= left + wide and top <= y <= top + high)
                assert 0 <= left <= left + wide <= SIZE
                assert 0 <= top <= top + high <= SIZE

    def test_the_arrow_goes_the_way_that_the_words_say(self, where: Region | Place, side: Side) -> None:
        line, arrow = start_first(where, side), points_of(draw(where, side, 2), "arrow")
        # The data draw a body that stands or hangs: "down" in words is down on the picture.
        if removal_start(drawn_as(where, side)) is not None:
            assert line[-1][1] - line[0][1] > 10
        barbs = barbs_of(arrow, line, body_for(where, side).tape)
        ahead = [dist(barb, line[-1]) < dist(barb, line[0]) for barb in barbs]
        heads = 2 if removal_start(drawn_as(where, side)) is None else 1
        assert (len(barbs), sum(ahead)) == (2 * heads, 2)
        (x, y) = middle_of(arrow)
        assert 0 < x < SIZE
        assert 0 < y < SIZE

    def test_the_hand_lies_behind_the_edge_and_the_tape_is_folded_ahead_of_it(
        self, where: Region | Place, side: Side
    ) -> None:
        drawing = draw(where, side, 3)
        line = along(start_first(where, side))
        hand, head = points_of(drawing, "hand"), middle_of(points_of(drawing, "arrow"))
        # The finger tips lie over the bared part; the head of the arrow on the folded part, nearer the far end.
        (tx, ty) = line[-1]
        bared = middle_of(points_of(drawing, "bare"))
        to_end = [(x - tx) ** 2 + (y - ty) ** 2 for x, y in (bared, head)]
        assert to_end[0] > to_end[1]
        nearest = min((x - bared[0]) ** 2 + (y - bared[1]) ** 2 for x, y in hand) ** 0.5
        assert nearest < body_for(where, side).tape

    def test_all_three_are_small_and_have_a_name_and_a_description(self, where: Region | Place, side: Side) -> None:
        for number in NUMBERS:
            text = removal_svg(where, side, number)
            drawing = ElementTree.fromstring(text)
            assert [one.tag for one in list(drawing)[:2]] == [f"{SVG}title", f"{SVG}desc"]
            assert len(text) < 3_600

    def test_tape_lies_on_the_page(self, where: Region | Place, side: Side) -> None:
        points = points_of(draw(where, side, 1), "tape")
        assert all(0 <= x <= SIZE and 0 <= y <= SIZE for x, y in points)


def inside(spot: tuple[float, float], loop: Line) -> bool:
    """By the even-odd rule: how often a line to the right of the spot crosses the loop."""
    x, y = spot
    crossed = [
        (ax, ay, bx, by) for (ax, ay), (bx, by) in zip(loop, (*loop[1:], loop[0]), strict=True) if (ay > y) != (by > y)
    ]
    return sum(x < (bx - ax) * (y - ay) / (by - ay) + ax for ax, ay, bx, by in crossed) % 2 == 1


WRAPPED = {"thumb_tendons": 8.0}
"""Where tape is wider than what it ends on: how much of its width may be out of sight."""


@pytest.mark.parametrize(("where", "side"), EVERY, ids=lambda value: getattr(value, "key", str(value)))
def test_tape_lies_on_the_body_and_not_in_the_air_beside_it(where: Region | Place, side: Side) -> None:
    """Within the outline as it is drawn, but for a hundredth of the picture at each edge."""
    body = body_for(where, side)
    loops = [along((one[-1], *one, one[0], one[1]))[8 : 8 + 8 * len(one)] for one in body.outlines]
    loops = [mirrored(loop) for loop in loops] if side is Side.LEFT else loops
    within = band(along(start_first(where, side)), body.tape - WRAPPED.get(where.key, 4.0))
    assert [spot for spot in within if not any(inside(spot, loop) for loop in loops)] == []


@pytest.mark.parametrize("where", PAIRED, ids=lambda where: where.key)
@pytest.mark.parametrize("number", NUMBERS)
def test_left_is_the_mirror_image_of_right(where: Region | Place, number: int) -> None:
    name = {1: "tape", 2: "arrow", 3: "hand"}[number]
    right, left = (points_of(draw(where, side, number), name) for side in (Side.RIGHT, Side.LEFT))
    turned = sorted((SIZE - x, y) for x, y in left)
    apart = max(abs(a - b) + abs(c - d) for (a, c), (b, d) in zip(turned, sorted(right), strict=True))
    # Whole numbers: each is at most one off where both sides round the same half.
    assert apart <= 2 or middle_of(turned) == pytest.approx(middle_of(right), abs=1)


@pytest.mark.parametrize("number", NUMBERS)
def test_left_and_right_are_different_pictures(number: int) -> None:
    knee = REGIONS["knee"]
    assert removal_svg(knee, Side.LEFT, number) != removal_svg(knee, Side.RIGHT, number)


def test_no_shape_needs_colour() -> None:
    for number in NUMBERS:
        for value in findall(r'(?:fill|stroke)="(#[0-9a-f]+)"', removal_svg(REGIONS["knee"], Side.LEFT, number)):
            digits = value[1:] if len(value) == 4 else value[1::2]
            assert len(set(digits)) == 1, value


@pytest.mark.parametrize("key", LANGUAGES)
def test_no_word_is_wider_than_its_ground_against_the_font(key: str) -> None:
    """White letters beyond it are not seen. Widths of DejaVu Sans, letter by letter: joined ones take less."""
    font = TTFont("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf")
    names, widths, em = font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm
    for number, said in ((1, "start"), (3, "either end")):
        where = REGIONS["knee"] if number == 1 else REGIONS["foot"]
        drawing = ElementTree.fromstring(removal_svg(where, Side.LEFT, number, tongue_of(key)))
        word = next(one for one in words_of(drawing) if one == tongue_of(key).say(said))
        ground = next(one for one in drawing.iter(f"{SVG}rect") if one.get("rx"))
        wide = sum(widths[names[ord(letter)]][0] for letter in word) * 17 / em
        assert wide + 4 <= float(ground.get("width", 0))


def test_a_side_that_the_region_lacks_is_refused() -> None:
    with pytest.raises(UnknownSideError):
        removal_svg(REGIONS["knee"], Side.MIDLINE, 1)


@pytest.mark.parametrize(("where", "side"), EVERY, ids=lambda value: getattr(value, "key", str(value)))
def test_the_hand_is_whole(where: Region | Place, side: Side) -> None:
    """From the fingertips to where the arm begins, whose rounded end may touch the picture's edge."""
    drawn, edge = points_of(draw(where, side, 3), "hand"), 3
    assert [one for one in drawn if not all(-edge <= part <= SIZE + edge for part in one)] == []
