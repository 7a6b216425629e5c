"""The few pieces of SVG that our drawings are made of, as text. Numbers are in the drawing's own units.

Everything is filled with currentColor at some strength, never styled: it reads in black and white, on a dark page and
on paper, and needs no style attribute.
"""

from collections.abc import Iterable
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

Anchor = Literal["start", "middle", "end"]


def n(value: float) -> str:
    """A number to a hundredth, without an empty decimal."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def element(name: str, inside: str = "", /, **attributes: str | float) -> str:
    """An element; "_" in a name stands for "-", a trailing one for a Python word such as class_."""
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}={quoteattr(value if isinstance(value, str) else n(value))}"
        for key, value in attributes.items()
    )
    return f"<{name}{written}>{inside}</{name}>" if inside else f"<{name}{written}/>"


def box(x: float, y: float, width: float, height: float, *, strength: float = 1.0, name: str = "") -> str:
    """A filled rectangle. strength: 0 to 1; name: a class by which the part is known."""
    return element(
        "rect", x=x, y=y, width=width, height=height, fill="currentColor", **_paint(strength), **_class(name)
    )


def path(points: str, *, strength: float = 1.0, name: str = "", **more: str) -> str:
    return element("path", d=points, fill="currentColor", **_paint(strength), **_class(name), **more)


def words(text: str, x: float, y: float, size: float, *, anchor: Anchor = "start", bold: bool = False) -> str:
    """Text with its baseline at y."""
    weight: dict[str, str | float] = {"font_weight": "700"} if bold else {}
    return element("text", escape(text), x=x, y=y, font_size=size, text_anchor=anchor, fill="currentColor", **weight)


def picture(parts: Iterable[str], *, size: tuple[float, float], title: str, told: str, key: str) -> str:
    """The whole drawing as an image with a name and a description. key: unlike any other drawing's on the page."""
    head = element("title", escape(title), id=f"{key}-title") + element("desc", escape(told), id=f"{key}-told")
    return element(
        "svg",
        head + "".join(parts),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {n(size[0])} {n(size[1])}",
        role="img",
        aria_labelledby=f"{key}-title {key}-told",
        font_family="sans-serif",
    )


def _paint(strength: float) -> dict[str, str | float]:
    return {} if strength >= 1 else {"fill_opacity": strength}


def _class(name: str) -> dict[str, str | float]:
    return {"class_": name} if name else {}
