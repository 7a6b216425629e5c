"""Pictures that a sheet carries in itself, as data: addresses."""

import base64
from functools import lru_cache

from clinic.rules.tongue import ENGLISH, Tongue
from taping.drawings.removal import removal_svg
from taping.rules.places import Place, Region, Side


def data_address(svg: str) -> str:
    """An SVG as a data: address (RFC 2397)."""
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


@lru_cache(maxsize=512)
def removal_image(where: Region | Place, side: Side, number: int, tongue: Tongue = ENGLISH) -> str:
    return data_address(removal_svg(where, side, number, tongue))
