"""A strip's shape on its backing, ready to be drawn.

Paper coordinates in millimetres: x runs along the backing from the first end (0) to the last (the paper length),
y across it from 0 to the width. One drawing routine needs nothing but a Shape.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

from taping.rules.amounts import BadNumberError, in_mm, positive
from taping.rules.cut import Cut, Pair, cut_for_stretch
from taping.rules.lengths import Unit
from taping.rules.shape_kinds import CORNER_MM, HOLE_MM, LEAST_TAIL_MM, SHAPES, ShapeKind
from taping.rules.tape import Tape
from taping.rules.wording import Length, Sentence, sentence

_SAME = 1e-9


class UnfitShapeError(ValueError):
    """A shape that cannot be cut from the piece; the text says why and what would work, lengths in millimetres."""

    def __init__(self, said: Sentence) -> None:
        super().__init__(said.in_unit(Unit.MM))
        self._said = said

    def in_unit(self, unit: Unit) -> str:
        """Return the text with its lengths in ``unit``."""
        return self._said.in_unit(unit)


class EncirclingError(ValueError):
    """A strip that would close round a limb."""


@dataclass(frozen=True, slots=True)
class Slit:
    """A straight cut along the piece at height ``y_mm``, from ``from_mm`` to ``to_mm``."""

    y_mm: float
    from_mm: float
    to_mm: float


@dataclass(frozen=True, slots=True)
class Hole:
    """A round hole."""

    x_mm: float
    y_mm: float
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Tail:
    """One strand between slits: its box on the backing."""

    from_mm: float
    to_mm: float
    low_mm: float
    high_mm: float

    @property
    def width_mm(self) -> float:
        """How wide the strand is."""
        return self.high_mm - self.low_mm


@dataclass(frozen=True, slots=True)
class Shape:
    """A piece of ``length_mm`` by ``width_mm`` with what is cut into it.

    ``anchors_mm`` are the first and last anchor on the backing, to be drawn solid; ``corner_mm`` is the radius of
    every corner, ``square_mm`` the step of the printed squares along it.
    """

    kind: ShapeKind
    length_mm: float
    width_mm: float
    anchors_mm: Pair
    slits: tuple[Slit, ...]
    holes: tuple[Hole, ...]
    tails: tuple[Tail, ...]
    corner_mm: float
    square_mm: float


def shape_for(
    kind: ShapeKind,
    cut: Cut,
    tape: Tape,
    *,
    tails: int | None = None,
    hole_mm: float = HOLE_MM,
    least_tail_mm: float = LEAST_TAIL_MM,
) -> Shape:
    """Return ``cut`` as a shape on its backing; ``tails`` is the shape's usual number where nothing is said.

    Raises:
        UnfitShapeError: for a number of tails the shape does not have, a tail or rim narrower than
            ``least_tail_mm``, a hole that reaches into an anchor, an unknown kind.
        BadNumberError: for a hole or a least width that is no length.
    """
    known = _known(kind)
    least = positive(least_tail_mm, "the least width of a tail")
    first, last = cut.tear_marks_mm
    length, width = cut.paper_mm, tape.width_mm
    count = _tail_count(known, tails, width, least)
    reaches = {
        ShapeKind.I: [(0.0, length)],
        ShapeKind.DONUT: [(0.0, length)],
        ShapeKind.Y: [(first, length)],
        ShapeKind.FAN: [(first, length)],
        ShapeKind.WEB: [(first, length - last)],
        ShapeKind.X: [(0.0, first), (length - last, length)],
    }[known]
    return Shape(
        kind=known,
        length_mm=length,
        width_mm=width,
        anchors_mm=cut.tear_marks_mm,
        slits=tuple(Slit(width * n / count, x0, x1) for x0, x1 in reaches for n in range(1, count)),
        holes=(_hole(cut, width, hole_mm, least),) if known is ShapeKind.DONUT else (),
        tails=tuple(
            Tail(x0, x1, width * n / count, width * (n + 1) / count) for x0, x1 in reaches for n in range(count)
        ),
        corner_mm=min(CORNER_MM, width / count / 2),
        square_mm=tape.square_mm,
    )


def _known(kind: ShapeKind) -> ShapeKind:
    try:
        return ShapeKind(kind)
    except ValueError:
        known = ", ".join(ShapeKind)
        raise UnfitShapeError(
            sentence("{kind} is not a shape; choose one of {known}", kind=repr(kind), known=known)
        ) from None


def _tail_count(kind: ShapeKind, tails: int | None, width: float, least: float) -> int:
    info = SHAPES[kind]
    count = info.tails if tails is None else tails
    allowed = f"{info.fewest_tails} to {info.most_tails}" if info.most_tails > info.fewest_tails else f"{info.tails}"
    if isinstance(count, bool) or not isinstance(count, int) or not info.fewest_tails <= count <= info.most_tails:
        raise UnfitShapeError(
            sentence(
                "{shape}: {count} is not a number of tails it can have; it takes {allowed}",
                shape=info.label,
                count=repr(count),
                allowed=allowed,
            )
        )
    if count > 1 and width / count < least - _SAME:
        most = floor(width / least + _SAME)
        works = f"at most {most} tails" if most >= info.fewest_tails else "a wider tape or another shape"
        raise UnfitShapeError(
            sentence(
                "{shape}: {count} tails of a tape {width} wide are {each} each, narrower than {least}: they tear and "
                "roll up; use {works}",
                shape=info.label,
                count=str(count),
                width=Length(width),
                each=Length(width / count),
                least=Length(least),
                works=works,
            )
        )
    return count


def _hole(cut: Cut, width: float, hole_mm: float, least: float) -> Hole:
    across = positive(hole_mm, "the hole")
    first, last = cut.tear_marks_mm
    # The hole is cut from the fold, so it lies in the middle of the piece even where the anchors are unequal.
    middle = cut.paper_mm / 2
    room = min(middle - first, cut.paper_mm - last - middle) * 2
    widest = min(width - 2 * least, room)
    if across > widest + _SAME:
        works = "a hole of at most {widest}" if widest > 0 else "a longer piece, a wider tape or shorter anchors"
        raise UnfitShapeError(
            sentence(
                "a hole of {hole} does not fit: it must leave {least} on both sides and keep out of the anchors; use "
                + works,
                hole=Length(across),
                least=Length(least),
                widest=Length(max(widest, 0.0)),
            )
        )
    return Hole(middle, width / 2, across)


def cuts_for_tails(
    spans_mm: Sequence[float], share: float, tape: Tape, anchors_mm: Pair = (50.0, 50.0), *, off_paper: bool = False
) -> tuple[Cut, ...]:
    """Return one cut for each tail of a Y or fan, from its own span, base included.

    The piece is cut for the longest; each other tail is then trimmed to its own paper length before it is laid.

    Raises:
        BadNumberError: without any span, and as ``cut_for_stretch`` does.
        ImpossibleCut: as ``cut_for_stretch`` does.
    """
    if not spans_mm:
        raise BadNumberError("no span was given: measure along each tail")
    return tuple(cut_for_stretch(span, share, tape, anchors_mm, off_paper=off_paper) for span in spans_mm)


def check_open(span_mm: float, girth_mm: float) -> None:
    """Make sure that a strip of ``span_mm`` laid round a limb of ``girth_mm`` leaves a gap.

    Tape that closes round a limb cannot give way when the limb swells.

    Raises:
        EncirclingError: when its ends would meet or overlap.
        BadNumberError: for lengths that are not above 0.
    """
    span, girth = positive(span_mm, "the span"), positive(girth_mm, "the way round the limb")
    if span >= girth:
        raise EncirclingError(
            f"A span of {in_mm(span)} mm closes round a limb of {in_mm(girth)} mm and could cut off the blood if it "
            f"swells. Tape never goes all the way round: use a span well under {in_mm(girth)} mm, or lay it along the "
            "limb."
        )
