"""Pictures that a sheet carries in itself, as data: addresses."""

import base64
from functools import lru_cache

from clinic.rules.tongue import ENGLISH, Tongue
from taping.drawings.raster import FINE_PIXELS, removal_png
from taping.drawings.removal import removal_svg
from taping.rules.places import Place, Region, Side


def data_address(svg: str) -> str:
    """An SVG as a data: address (RFC 2397)."""
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


@lru_cache(maxsize=512)
def removal_image(where: Region | Place, side: Side, number: int, tongue: Tongue = ENGLISH) -> str:
    """A removal picture. The PDF library writes an SVG's letters one by one from left to right: where they run the
    other way and are joined, the picture is a PNG."""
    if tongue.direction == "rtl":
        png = removal_png(where, side, number, tongue, pixels=FINE_PIXELS)
        return f"data:image/png;base64,{base64.b64encode(png).decode()}"
    return data_address(removal_svg(where, side, number, tongue))
