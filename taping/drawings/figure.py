"""A body from the front and from the back, each region a large area that leads somewhere.

Left and right are the patient's own: from the front, the patient's right is on the reader's left.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape

from taping.drawings.svg import element
from taping.rules.places import Side, View, region_words

WIDTH = 200.0
HEIGHT = 478.0
CENTRE = WIDTH / 2
MARGIN = 16.0
"""Nothing is drawn so far out: it is cut off, so that on a tablet every area is 48 CSS pixels wide and high."""
CORNER = 8.0

Half = tuple[float, float, float, float]
"""An area beside the middle line: from and to sideways of it, from and to downwards."""

_ARMS_AND_LEGS: dict[str, Half] = {
    "shoulder": (38, 68, 84, 118),
    "upper_arm": (42, 70, 120, 168),
    "elbow": (44, 72, 170, 198),
    "forearm": (48, 76, 200, 250),
    "wrist": (52, 80, 252, 278),
    "hip": (5, 40, 192, 232),
    "knee": (6, 37, 308, 344),
    "ankle": (8, 34, 406, 432),
    "foot": (6, 42, 434, 460),
}
_SIDES: dict[View, dict[str, Half]] = {
    View.FRONT: {
        **_ARMS_AND_LEGS,
        "chest": (15, 36, 84, 138),
        "abdomen": (15, 36, 140, 190),
        "thigh_front": (5, 38, 234, 306),
        "shin": (7, 35, 346, 404),
    },
    View.BACK: {
        **_ARMS_AND_LEGS,
        "neck": (15, 42, 57, 83),
        "upper_back": (15, 36, 84, 138),
        "lower_back": (15, 36, 140, 190),
        "thigh_back": (5, 38, 234, 306),
        "calf": (7, 35, 346, 404),
    },
}
_MIDDLE = 13.5
_BARE: dict[View, tuple[Half, ...]] = {
    View.FRONT: ((-9, 9, 58, 82), (56, 82, 280, 304), (-82, -56, 280, 304)),
    View.BACK: ((56, 82, 280, 304), (-82, -56, 280, 304)),
}


@dataclass(frozen=True, slots=True)
class Area:
    """One region and side where the figure shows it, in the figure's units."""

    region: str
    side: Side
    x: float
    y: float
    width: float
    height: float


def areas(view: View) -> Iterator[Area]:
    """Every area of the figure from one side. Raises KeyError for a view that has no figure."""
    right_is = -1.0 if view is View.FRONT else 1.0
    for region, (near, far, top, bottom) in _SIDES[view].items():
        for side, sign in ((Side.RIGHT, right_is), (Side.LEFT, -right_is)):
            left = CENTRE + (near if sign > 0 else -far)
            yield Area(region, side, left, top, far - near, bottom - top)
        if region in MIDLINE_REGIONS:
            yield Area(region, Side.MIDLINE, CENTRE - _MIDDLE, top, 2 * _MIDDLE, bottom - top)


MIDLINE_REGIONS = frozenset({"neck", "upper_back", "lower_back", "chest", "abdomen"})


def figure_svg(view: View, address: Callable[[str, str], str], chosen: frozenset[tuple[str, str]] = frozenset()) -> str:
    """The figure as SVG; address gives each area's link. Hidden from screen readers: the list beside it says it all.

    chosen: regions and sides that are marked, by a tick as well as by their ground.
    """
    front = view is View.FRONT
    links = (_link(area, address, (area.region, area.side) in chosen) for area in areas(view))
    parts = [_head(), *(_bare(half) for half in _BARE[view]), *links]
    words = ("right", "left") if front else ("left", "right")
    labels = [
        element("text", word, x=x, y=HEIGHT - 4, font_size=13.0, text_anchor="middle", fill="currentColor")
        for word, x in zip(words, (40.0, WIDTH - 40.0), strict=True)
    ]
    return element(
        "svg",
        "".join([*parts, *labels]),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"{MARGIN:g} 0 {WIDTH - 2 * MARGIN:g} {HEIGHT:g}",
        aria_hidden="true",
        class_=f"figure figure-{view.value}",
    )


def _link(area: Area, address: Callable[[str, str], str], chosen: bool) -> str:
    title = element("title", escape(region_words(area.region, area.side)))
    shape = element(
        "rect",
        title,
        x=area.x,
        y=area.y,
        width=area.width,
        height=area.height,
        rx=CORNER,
        class_="figure-area figure-chosen" if chosen else "figure-area",
    )
    if chosen:
        shape += _tick(area)
    return element("a", shape, href=address(area.region, area.side), tabindex="-1")


def _tick(area: Area) -> str:
    across, down = area.x + area.width / 2, area.y + area.height / 2
    points = f"{across - 7:g},{down:g} {across - 2:g},{down + 5:g} {across + 7:g},{down - 6:g}"
    return element("polyline", points=points, class_="figure-tick")


def _head() -> str:
    return element("ellipse", cx=CENTRE, cy=31.0, rx=21.0, ry=26.0, class_="figure-bare")


def _bare(half: Half) -> str:
    near, far, top, bottom = half
    return element(
        "rect", x=CENTRE + near, y=top, width=far - near, height=bottom - top, rx=CORNER, class_="figure-bare"
    )
