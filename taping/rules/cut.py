"""How long to cut a strip, and what tension a cut really makes.

Lengths are millimetres. With P the paper length, L0 the relaxed length, pre = P/L0 - 1, anchors a1 and a2 as they
lie on the skin, z the zone between them and s its stretch:

    L0 = a1 + a2 + z/(1+s),  P = (1+pre)*L0           anchors relaxed
    P  = a1 + a2 + (1+pre)*z/(1+s),  L0 = P/(1+pre)   anchors put down straight off the paper
"""

from dataclasses import dataclass
from math import ceil, floor

from taping.rules.amounts import BadNumberError, in_mm, in_percent, not_negative, positive
from taping.rules.cautions import SLIP_MM, Caution, paper_off_cautions, tension_cautions, zone_cautions
from taping.rules.lengths import Unit
from taping.rules.tape import Band, Tape, band_of
from taping.rules.wording import Bound, Length, Sentence, as_sentence, sentence

Pair = tuple[float, float]
USUAL_ANCHORS: Pair = (50.0, 50.0)

# Lengths that agree to a billionth are equal: below it only the last bits of the arithmetic differ, and a zone
# made of them alone would come out as millions of percent.
_SAME = 1e-9
# The same for shares, so that a cut computed for 25 % and read back is not filed under the next band.
_SAME_SHARE = 1e-10


class ImpossibleCut(ValueError):
    """A strip that cannot be made: ``reason`` says why, ``would_work`` what to do instead; lengths in millimetres."""

    def __init__(self, reason: Sentence | str, would_work: Sentence | str) -> None:
        self._said = as_sentence(reason), as_sentence(would_work)
        self.reason, self.would_work = (part.in_unit(Unit.MM) for part in self._said)
        super().__init__(f"{self.reason} {self.would_work}")

    def reason_in(self, unit: Unit) -> str:
        """Return why, with its lengths in ``unit``."""
        return self._said[0].in_unit(unit)

    def in_unit(self, unit: Unit) -> str:
        """Return why, and what to do instead, with the lengths in ``unit``."""
        return " ".join(part.in_unit(unit) for part in self._said)


@dataclass(frozen=True, slots=True)
class Cut:
    """One piece of tape over one span: lengths in millimetres, ``stretch`` and ``share`` as fractions.

    ``squares`` is the paper length in printed squares; ``anchors_mm`` and ``zone_mm`` lie on the skin;
    ``tear_marks_mm`` are the places on the backing, from the first and from the last end, where it is torn;
    ``band`` is None for loose tape and beyond what the tape can give.
    """

    span_mm: float
    paper_mm: float
    squares: float
    relaxed_mm: float
    anchors_mm: Pair
    zone_mm: float
    stretch: float
    share: float
    band: Band | None
    tear_marks_mm: Pair
    cautions: tuple[Caution, ...]


def cut_for_stretch(
    span_mm: float, share: float, tape: Tape, anchors_mm: Pair = USUAL_ANCHORS, *, off_paper: bool = False
) -> Cut:
    """Return the piece that lies over ``span_mm`` with ``share`` (0 to 1) of what the tape can give in its zone.

    ``off_paper`` means anchors put down with the stretch they have on the backing; otherwise they relax first.

    Raises:
        ImpossibleCut: when the anchors leave no zone, or more than the tape can give is asked for.
        BadNumberError: for numbers that are none, negative, infinite, or zero where that is no length.
    """
    span, anchors = positive(span_mm, "the span"), _checked_anchors(anchors_mm)
    wanted = not_negative(share, "the share")
    if wanted > 1:
        raise ImpossibleCut(
            sentence("{wanted} % of what this tape can give is more than all of it.", wanted=in_percent(wanted)),
            sentence("Ask for 100 % or less: a share counts from relaxed (0) to as far as the tape goes (1)."),
        )
    zone = _zone(span, anchors)
    paper = _paper_for(zone, wanted * tape.limit, tape, anchors, off_paper=off_paper)
    return _laid(span, paper, tape, anchors, off_paper, wanted)


def cut_by_fraction(
    span_mm: float,
    tape: Tape,
    fraction: float = 0.8,
    anchors_mm: Pair = USUAL_ANCHORS,
    to_square: bool = True,
    *,
    off_paper: bool = False,
) -> Cut:
    """Return what cutting ``fraction`` of the span on the backing really makes: the habit is four fifths.

    With ``to_square`` the piece is cut at the nearest whole printed square; half way between two, at the longer
    one, which pulls less. The habit is common practice, no source.

    Raises:
        ImpossibleCut: when the anchors leave no zone, or the piece is not longer than its anchors.
        BadNumberError: for numbers that are none, zero, negative or infinite.
    """
    span, anchors = positive(span_mm, "the span"), _checked_anchors(anchors_mm)
    paper = positive(fraction, "the fraction of the span") * span
    if to_square:
        paper = floor(paper / tape.square_mm + 0.5 + _SAME) * tape.square_mm
    return _made(span, paper, tape, anchors, off_paper)


def cut_of_length(
    span_mm: float, paper_mm: float, tape: Tape, anchors_mm: Pair = USUAL_ANCHORS, *, off_paper: bool = False
) -> Cut:
    """Return what a piece already cut, ``paper_mm`` long on the backing, makes over ``span_mm``.

    Raises:
        ImpossibleCut: when the anchors leave no zone, or the piece is not longer than its anchors.
        BadNumberError: for numbers that are none, zero, negative or infinite.
    """
    span, anchors = positive(span_mm, "the span"), _checked_anchors(anchors_mm)
    return _made(span, positive(paper_mm, "the paper length"), tape, anchors, off_paper)


def cautions_for(
    cut: Cut, tape: Tape, *, fragile_skin: bool = False, child: bool = False, neck: bool = False
) -> tuple[Caution, ...]:
    """Return the cautions of the cut and, where one of these is true, the one for more than paper-off tension."""
    named = ((fragile_skin, "fragile skin"), (child, "a child"), (neck, "the neck"))
    return cut.cautions + paper_off_cautions(cut.share, tape, [who for applies, who in named if applies])


@dataclass(frozen=True, slots=True)
class ShareRange:
    """What the share may really be, as the span was measured by hand; below 0 the tape lies loose."""

    low: float
    high: float

    def __str__(self) -> str:
        """The range in whole percent, rounded outwards, as pages print it."""
        low = "loose" if self.low < 0 else str(floor(self.low * 100 + _SAME))
        high = "loose" if self.high < 0 else f"{ceil(self.high * 100 - _SAME)} %"
        return high if low == high else f"{low} to {high}"


def share_range(cut: Cut, tape: Tape, tolerance_mm: float = SLIP_MM) -> ShareRange:
    """Return the shares this same piece makes when the span is shorter or longer by ``tolerance_mm``.

    A zone that the tolerance would use up counts as nothing to cover, which is tape lying quite loose.

    Raises:
        BadNumberError: for a tolerance that is negative, no number, or as long as the span itself.
    """
    slip = not_negative(tolerance_mm, "the tolerance")
    if slip >= cut.span_mm:
        raise BadNumberError(
            f"the tolerance is {in_mm(slip)} mm: it takes less than the span of {in_mm(cut.span_mm)} mm"
        )
    free = cut.zone_mm / (1 + cut.stretch)
    low = max(cut.zone_mm - slip, 0.0) / free - 1
    high = (cut.zone_mm + slip) / free - 1
    return ShareRange(_steady(low / tape.limit), _steady(high / tape.limit))


def _checked_anchors(anchors_mm: Pair) -> Pair:
    try:
        first, last = anchors_mm
    except (TypeError, ValueError):
        raise BadNumberError(f"the anchors are {anchors_mm!r}: they take two lengths, first and last") from None
    return positive(first, "the first anchor"), positive(last, "the last anchor")


def _zone(span: float, anchors: Pair) -> float:
    zone = span - anchors[0] - anchors[1]
    if zone <= _SAME * span:
        first, last = Length(anchors[0]), Length(anchors[1])
        raise ImpossibleCut(
            sentence(
                "Anchors of {first} and {last} leave nothing to stretch of a span of {span}.",
                first=first,
                last=last,
                span=Length(span),
            ),
            sentence("Use anchors that are together shorter than {span}, or measure a longer span.", span=Length(span)),
        )
    return zone


def _paper_for(zone: float, stretch: float, tape: Tape, anchors: Pair, *, off_paper: bool) -> float:
    peel = 1 + tape.pre_stretch
    both = anchors[0] + anchors[1]
    return both * (1 if off_paper else peel) + peel * zone / (1 + stretch)


def _made(span: float, paper: float, tape: Tape, anchors: Pair, off_paper: bool) -> Cut:
    zone = _zone(span, anchors)
    peel = 1 + tape.pre_stretch
    on_paper = (anchors[0] + anchors[1]) * (1 if off_paper else peel)
    free = (paper - on_paper) / peel
    if free <= _SAME * paper:
        least = _paper_for(zone, tape.limit, tape, anchors, off_paper=off_paper)
        raise ImpossibleCut(
            sentence(
                "A piece of {paper} on the backing is not longer than its anchors ({anchors} of it).",
                paper=Length(paper),
                anchors=Length(on_paper),
            ),
            sentence(
                "Cut at least {least}: that takes all this tape can give over this span. Or use shorter anchors.",
                least=Length(least, Bound.AT_LEAST),
            ),
        )
    return _laid(span, paper, tape, anchors, off_paper, _steady((zone / free - 1) / tape.limit))


def _steady(share: float) -> float:
    percent = round(share, 2)
    return percent if abs(share - percent) < _SAME_SHARE else share


def _laid(span: float, paper: float, tape: Tape, anchors: Pair, off_paper: bool, share: float) -> Cut:
    peel = 1 + tape.pre_stretch
    torn = 1.0 if off_paper else peel
    zone = span - anchors[0] - anchors[1]
    found = zone_cautions(zone, paper, tape)
    found += tension_cautions(share, lambda s: _paper_for(zone, s * tape.limit, tape, anchors, off_paper=off_paper))
    return Cut(
        span_mm=span,
        paper_mm=paper,
        squares=paper / tape.square_mm,
        relaxed_mm=paper / peel,
        anchors_mm=anchors,
        zone_mm=zone,
        stretch=share * tape.limit,
        share=share,
        band=band_of(share),
        tear_marks_mm=(anchors[0] * torn, anchors[1] * torn),
        cautions=tuple(found),
    )
