"""The six shapes and what is known about each; the texts and usual sizes are data."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from taping.rules.toml_data import load_table, text_of


class ShapeKind(StrEnum):
    """What a piece of tape is cut to."""

    I = "i"  # noqa: E741 - the trade's own name, which the contract fixes
    Y = "y"
    X = "x"
    FAN = "fan"
    WEB = "web"
    DONUT = "donut"


@dataclass(frozen=True, slots=True)
class ShapeInfo:
    """One shape in words: how its span is measured, how it is cut, how it is laid."""

    kind: ShapeKind
    label: str
    tails: int
    fewest_tails: int
    most_tails: int
    span: str
    how: str
    lay: str
    source: str


_DATA = load_table("shapes")
_SIZES = {row["key"]: float(row["mm"]) for row in _DATA["size"]}
CORNER_MM = _SIZES["corner"]
LEAST_TAIL_MM = _SIZES["least_tail"]
HOLE_MM = _SIZES["hole"]


def _info(row: Mapping[str, Any]) -> ShapeInfo:
    fewest, most = row["tails_allowed"]
    return ShapeInfo(
        kind=ShapeKind(text_of(row, "key")),
        label=text_of(row, "label"),
        tails=int(row["tails"]),
        fewest_tails=int(fewest),
        most_tails=int(most),
        span=text_of(row, "span"),
        how=text_of(row, "how"),
        lay=text_of(row, "lay"),
        source=text_of(row, "source"),
    )


SHAPES: Mapping[ShapeKind, ShapeInfo] = {info.kind: info for info in map(_info, _DATA["shape"])}
