"""The removal pictures as PNG, for mail programs, which show no SVG."""

from functools import lru_cache

import resvg_py

from clinic.rules.tongue import ENGLISH, Tongue
from taping.drawings.removal import removal_svg
from taping.rules.places import Place, Region, Side

PIXELS = 320
"""Width and height: sharp enough where a mail shows them at 200, and about 10 KB each."""


@lru_cache(maxsize=512)
def removal_png(where: Region | Place, side: Side, number: int, tongue: Tongue = ENGLISH) -> bytes:
    """Picture `number` of a strip along `where`, white beneath. Raises as removal_svg does.

    The words in it need a font of the system; without DejaVu Sans they are left out, and the text beside says them.
    """
    svg = removal_svg(where, side, number, tongue)
    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=svg, width=PIXELS, height=PIXELS, background="#ffffff", sans_serif_family="DejaVu Sans"
        )
    )
