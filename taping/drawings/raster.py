"""The removal pictures as PNG: mail programs show no SVG, and the PDF library sets its letters one by one."""

from functools import lru_cache

import resvg_py

from clinic.rules.tongue import ENGLISH, Tongue
from taping.drawings.removal import removal_svg
from taping.rules.places import Place, Region, Side

PIXELS = 320
"""Width and height: sharp enough where a mail shows them at 200, and about 10 KB each."""


FINE_PIXELS = 640
"""The same for paper: 300 dots an inch at 54 mm."""


@lru_cache(maxsize=512)
def removal_png(
    where: Region | Place, side: Side, number: int, tongue: Tongue = ENGLISH, *, pixels: int = PIXELS
) -> bytes:
    """Picture `number` of a strip along `where`, white beneath, pixels wide and high. Raises as removal_svg does.

    The words in it need a font of the system; without DejaVu Sans they are left out, and the text beside says them.
    """
    svg = removal_svg(where, side, number, tongue)
    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=svg, width=pixels, height=pixels, background="#ffffff", sans_serif_family="DejaVu Sans"
        )
    )
