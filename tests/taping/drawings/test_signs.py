"""Every sign a patient can report has a drawing of its own, which screen readers pass by."""

from xml.etree import ElementTree

import pytest

from taping.drawings.signs import sign_svg
from taping.rules.report_signs import SIGNS

PICTURES = [sign.picture for sign in SIGNS]


@pytest.mark.parametrize("picture", PICTURES)
def test_it_is_whole_takes_the_pages_colour_and_is_not_read_out(picture: str) -> None:
    drawn = ElementTree.fromstring(sign_svg(picture))
    assert (drawn.tag, drawn.get("aria-hidden"), drawn.get("viewBox")) == ("svg", "true", "0 0 40 40")
    colours = {part.get(name) for part in drawn.iter() for name in ("fill", "stroke")} - {None}
    assert colours == {"none", "currentColor"} or colours == {"none"}
    assert not [part for part in drawn.iter() if part.get("class") or part.get("style")]


def test_no_two_are_alike() -> None:
    assert len({sign_svg(picture) for picture in PICTURES}) == len(SIGNS)


def test_a_sign_without_a_drawing_is_a_fault() -> None:
    with pytest.raises(KeyError):
        sign_svg("no such sign")
