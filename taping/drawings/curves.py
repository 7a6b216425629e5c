"""Smooth lines through points, and bands along them, as the text of SVG paths.

Whole numbers keep the pictures small.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

from taping.rules.pictures import Point

STEPS = 8
"""Pieces that each stretch between two points is cut into where a band follows it."""


def closed(points: Sequence[Point]) -> str:
    """A smooth closed line through the points (Catmull-Rom, written as cubic Béziers)."""
    count = len(points)
    parts = [f"M{_at(points[0])}"]
    for index in range(count):
        around = [points[(index + step) % count] for step in (-1, 0, 1, 2)]
        first, second, end = _bezier(*around)
        parts.append(f"C{_at(first)} {_at(second)} {_at(end)}")
    return "".join(parts) + "Z"


def straight(points: Sequence[Point]) -> str:
    """Straight lines from point to point, open."""
    return "M" + "L".join(_at(point) for point in points)


def polygon(points: Sequence[Point]) -> str:
    return f"{straight(points)}Z"


def along(points: Sequence[Point]) -> tuple[Point, ...]:
    """A smooth open line through the points, as many short pieces."""
    padded = [points[0], *points, points[-1]]
    found: list[Point] = [points[0]]
    for index in range(len(points) - 1):
        start, (first, second, end) = padded[index + 1], _bezier(*padded[index : index + 4])
        found += [_between(start, first, second, end, step / STEPS) for step in range(1, STEPS + 1)]
    return tuple(found)


def part(line: Sequence[Point], begin: float, end: float) -> tuple[Point, ...]:
    """The part of a line between two shares (0 to 1) of its length."""
    lengths = [0.0]
    for one, two in pairwise(line):
        lengths.append(lengths[-1] + math.dist(one, two))
    low, high = begin * lengths[-1], end * lengths[-1]
    inner = [point for point, length in zip(line, lengths, strict=True) if low < length < high]
    return (_spot(line, lengths, low), *inner, _spot(line, lengths, high))


def band(line: Sequence[Point], width: float) -> tuple[Point, ...]:
    """The outline of a band of that width along a line."""
    sides = [(point, normal(line, index)) for index, point in enumerate(line)]
    half = width / 2
    left = [(x + nx * half, y + ny * half) for (x, y), (nx, ny) in sides]
    right = [(x - nx * half, y - ny * half) for (x, y), (nx, ny) in sides]
    return (*left, *reversed(right))


def direction(line: Sequence[Point], index: int) -> Point:
    """The way a line goes at one of its points, of length 1."""
    before, after = line[max(index - 1, 0)], line[min(index + 1, len(line) - 1)]
    long = math.dist(before, after)
    return (after[0] - before[0]) / long, (after[1] - before[1]) / long


def normal(line: Sequence[Point], index: int) -> Point:
    """Square to the way a line goes at one of its points, of length 1."""
    dx, dy = direction(line, index)
    return -dy, dx


def _bezier(before: Point, start: Point, end: Point, after: Point) -> tuple[Point, Point, Point]:
    first = (start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6)
    second = (end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6)
    return first, second, end


def _between(start: Point, first: Point, second: Point, end: Point, share: float) -> Point:
    rest = 1 - share
    weights = (rest**3, 3 * rest**2 * share, 3 * rest * share**2, share**3)
    points = (start, first, second, end)
    x = sum(weight * point[0] for weight, point in zip(weights, points, strict=True))
    y = sum(weight * point[1] for weight, point in zip(weights, points, strict=True))
    return x, y


def _spot(line: Sequence[Point], lengths: Sequence[float], wanted: float) -> Point:
    for index in range(len(line) - 1):
        if wanted <= lengths[index + 1]:
            piece = lengths[index + 1] - lengths[index]
            share = (wanted - lengths[index]) / piece if piece else 0.0
            (x1, y1), (x2, y2) = line[index], line[index + 1]
            return x1 + (x2 - x1) * share, y1 + (y2 - y1) * share
    return line[-1]


def _at(point: Point) -> str:
    return f"{point[0]:.0f} {point[1]:.0f}"
