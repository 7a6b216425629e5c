"""The same stretch reached by independent ways, over thousands of random strips."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.amounts import BadNumberError
from taping.rules.cut import Cut, ImpossibleCut, Pair, cut_by_fraction, cut_for_stretch, cut_of_length
from taping.rules.tape import Tape

anchors = st.tuples(st.floats(5, 90), st.floats(5, 90))
zones = st.floats(1, 1500)
shares = st.floats(0, 1)
tapes = st.builds(Tape, pre_stretch=st.floats(0, 0.25), limit=st.floats(0.26, 1.0))
STRIPS = settings(max_examples=1000, deadline=None)


def laid_span(paper: float, stretch: float, tape: Tape, anchors_mm: Pair, off_paper: bool) -> float:
    """Lay a piece in 1 mm slices of backing: each slice shrinks on peeling, those between the tears are stretched.

    The anchors are taken off the piece as strips of backing, so that no formula of the rules is repeated.
    """
    shrink = Fraction(1) / (1 + Fraction(tape.pre_stretch))
    on_skin = [Fraction(anchor) for anchor in anchors_mm]
    backing = on_skin if off_paper else [anchor / shrink for anchor in on_skin]
    middle = Fraction(paper) - sum(backing)
    return float(sum(on_skin) + middle * shrink * (1 + Fraction(stretch)))


def stretch_by_halving(span: float, paper: float, tape: Tape, anchors_mm: Pair, off_paper: bool) -> float:
    """Search for the stretch with which the laid piece covers the span."""
    low, high = -1.0, 1e7
    for _ in range(120):
        middle = (low + high) / 2
        if laid_span(paper, middle, tape, anchors_mm, off_paper) < span:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@STRIPS
@given(zones, shares, tapes, anchors, st.booleans())
def test_a_cut_made_for_a_share_gives_that_share_back(
    zone: float, share: float, tape: Tape, both: Pair, off_paper: bool
) -> None:
    span = zone + sum(both)
    wanted = cut_for_stretch(span, share, tape, both, off_paper=off_paper)
    made = cut_of_length(span, wanted.paper_mm, tape, both, off_paper=off_paper)

    assert made.share == pytest.approx(share, abs=1e-8)
    assert (made.relaxed_mm, made.zone_mm, made.tear_marks_mm) == (
        wanted.relaxed_mm,
        wanted.zone_mm,
        wanted.tear_marks_mm,
    )


@STRIPS
@given(zones, shares, tapes, anchors, st.booleans())
def test_a_cut_laid_piece_by_piece_covers_its_span(
    zone: float, share: float, tape: Tape, both: Pair, off_paper: bool
) -> None:
    cut = cut_for_stretch(zone + sum(both), share, tape, both, off_paper=off_paper)

    assert laid_span(cut.paper_mm, cut.stretch, tape, both, off_paper) == pytest.approx(cut.span_mm, rel=1e-9)


@settings(max_examples=300, deadline=None)
@given(zones, st.floats(0.5, 1.6), tapes, anchors, st.booleans())
def test_the_stretch_of_a_piece_is_the_one_a_search_finds(
    zone: float, of_span: float, tape: Tape, both: Pair, off_paper: bool
) -> None:
    span = zone + sum(both)
    try:
        cut = cut_of_length(span, of_span * span, tape, both, off_paper=off_paper)
    except ImpossibleCut:
        return
    found = stretch_by_halving(span, of_span * span, tape, both, off_paper)

    assert cut.stretch == pytest.approx(found, rel=1e-6, abs=1e-6)


@STRIPS
@given(zones, st.floats(0.3, 1.5), tapes, anchors, st.booleans())
def test_a_fraction_is_a_length_someone_has_already_cut(
    zone: float, fraction: float, tape: Tape, both: Pair, off_paper: bool
) -> None:
    span = zone + sum(both)

    def outcome(of_length: bool) -> Cut | str:
        try:
            if of_length:
                return cut_of_length(span, fraction * span, tape, both, off_paper=off_paper)
            return cut_by_fraction(span, tape, fraction, both, to_square=False, off_paper=off_paper)
        except ImpossibleCut as refused:
            return str(refused)

    assert outcome(of_length=True) == outcome(of_length=False)


@STRIPS
@given(zones, shares, tapes, anchors, st.booleans())
def test_the_parts_of_a_strip_add_up(zone: float, share: float, tape: Tape, both: Pair, off_paper: bool) -> None:
    cut = cut_for_stretch(zone + sum(both), share, tape, both, off_paper=off_paper)

    assert sum(cut.anchors_mm) + cut.zone_mm == pytest.approx(cut.span_mm)
    assert cut.squares * tape.square_mm == pytest.approx(cut.paper_mm)
    assert cut.relaxed_mm * (1 + tape.pre_stretch) == pytest.approx(cut.paper_mm)
    assert cut.share * tape.limit == pytest.approx(cut.stretch)
    assert sum(cut.tear_marks_mm) < cut.paper_mm


@STRIPS
@given(zones, shares, shares, tapes, anchors)
def test_more_tension_never_takes_a_longer_piece(zone: float, one: float, other: float, tape: Tape, both: Pair) -> None:
    less, more = sorted((one, other))
    span = zone + sum(both)

    assert cut_for_stretch(span, more, tape, both).paper_mm <= cut_for_stretch(span, less, tape, both).paper_mm


@settings(max_examples=500, deadline=None)
@given(st.integers(1, 40), st.floats(-0.49, 0.49), st.sampled_from([50.0, 50.8, 25.0]))
def test_whole_squares_are_the_nearest_ones(squares: int, off: float, square: float) -> None:
    tape = Tape(square_mm=square)
    span = (squares + off) * square / 0.8
    cut_length = cut_by_fraction(span, tape, 0.8, (span * 1e-3, span * 1e-3)).paper_mm if squares > 0 else 0.0

    assert cut_length == pytest.approx(squares * square)


@settings(max_examples=1000, deadline=None)
@given(st.floats(), st.floats(), st.floats(), st.floats(), st.booleans())
def test_whatever_is_typed_a_cut_is_finite_or_refused(
    span: float, paper: float, first: float, last: float, off_paper: bool
) -> None:
    try:
        cut = cut_of_length(span, paper, Tape(), (first, last), off_paper=off_paper)
    except (BadNumberError, ImpossibleCut):
        return
    assert max(map(abs, (cut.stretch, cut.share, cut.paper_mm, cut.relaxed_mm, cut.zone_mm))) < float("inf")
