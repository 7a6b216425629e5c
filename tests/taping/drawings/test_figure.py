"""The figure offers every region on the side that it has, as large areas that do not overlap."""

from itertools import combinations
from xml.etree import ElementTree

import pytest

from taping.drawings.figure import HEIGHT, MARGIN, WIDTH, Area, areas, figure_svg
from taping.rules.places import REGIONS, View

SVG = "{http://www.w3.org/2000/svg}"
VIEWS = [View.FRONT, View.BACK]


def overlap(one: Area, two: Area) -> bool:
    across = one.x < two.x + two.width and two.x < one.x + one.width
    return across and one.y < two.y + two.height and two.y < one.y + one.height


def test_every_region_and_side_is_somewhere() -> None:
    shown = {(area.region, area.side) for view in VIEWS for area in areas(view)}
    assert shown == {(key, side) for key, region in REGIONS.items() for side in region.sides}


@pytest.mark.parametrize("view", VIEWS)
def test_areas_lie_on_the_figure_and_apart(view: View) -> None:
    found = list(areas(view))
    assert not [(one, two) for one, two in combinations(found, 2) if overlap(one, two)]
    assert all(
        area.x >= MARGIN and area.x + area.width <= WIDTH - MARGIN and area.y + area.height <= HEIGHT for area in found
    )


@pytest.mark.parametrize("view", VIEWS)
def test_areas_are_large_enough_to_touch(view: View) -> None:
    # 48 CSS pixels, as every control here: at 820 px the figure is shown 390 px wide, whose measuring in a browser is
    # tests/browser/test_screen_drafts.py.
    assert min(min(area.width, area.height) for area in areas(view)) * 390 / (WIDTH - 2 * MARGIN) >= 48


@pytest.mark.parametrize(("view", "left_is_right_of_middle"), [(View.FRONT, True), (View.BACK, False)])
def test_left_is_the_patients_own(view: View, left_is_right_of_middle: bool) -> None:
    knee = next(area for area in areas(view) if (area.region, area.side) == ("knee", "left"))
    assert (knee.x > WIDTH / 2) is left_is_right_of_middle


@pytest.mark.parametrize("view", VIEWS)
def test_front_of_the_neck_is_no_place(view: View) -> None:
    assert ("neck" in {area.region for area in areas(view)}) is (view is View.BACK)


def test_links_are_named_escaped_and_left_to_the_list_for_keyboards() -> None:
    drawing = ElementTree.fromstring(figure_svg(View.FRONT, lambda region, side: f"?r={region}&s={side}"))
    links = list(drawing.iter(f"{SVG}a"))
    assert drawing.get("aria-hidden") == "true"
    assert {link.get("tabindex") for link in links} == {"-1"}
    named = {link.get("href"): link.find(f".//{SVG}title") for link in links}
    title = named["?r=thigh_front&s=left"]
    assert title is not None
    assert title.text == "front of the left thigh"
