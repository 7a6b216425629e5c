"""What to measure of a roll: one piece, three times, the same scale in all."""

from collections.abc import Iterator

from taping.drawings.svg import box, path, picture, words

WIDTH, HEIGHT, LEFT, HIGH = 330.0, 252.0, 8.0, 26.0
ROWS = (
    ("1. On the backing, as cut off the roll", 220.0, 1.0),
    ("2. Peeled and left alone: a little shorter", 200.0, 0.6),
    ("3. Pulled until it gives no more", 280.0, 0.3),
)
TITLE = "One piece of tape, measured three times"


def readings_svg() -> str:
    """The three readings as bars with the line to measure under each; the lengths are an example of no real tape."""
    parts = [part for number, row in enumerate(ROWS) for part in _row(12.0 + number * 82.0, *row)]
    told = " ".join(f"{name}." for name, _, _ in ROWS)
    return picture(parts, size=(WIDTH, HEIGHT), title=TITLE, told=told, key="readings")


def _row(top: float, name: str, long: float, strength: float) -> Iterator[str]:
    yield words(name, LEFT, top + 6, 13.0, bold=True)
    bar = top + 14
    yield box(LEFT, bar, long, HIGH, strength=strength, name="piece")
    line, end = bar + HIGH + 12, LEFT + long
    yield box(LEFT, line, long, 1.2, name="measure")
    for x, way in ((LEFT, 1.0), (end, -1.0)):
        yield box(x - 0.6, line - 6, 1.2, 13.2)
        yield path(f"M{x:.1f} {line + 0.6:.1f}l{7 * way:.1f} -4v8Z")
