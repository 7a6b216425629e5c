"""Strips as shapes on their backing."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.amounts import BadNumberError
from taping.rules.cut import ImpossibleCut, cut_for_stretch
from taping.rules.shape_kinds import CORNER_MM, HOLE_MM, LEAST_TAIL_MM, SHAPES, ShapeKind
from taping.rules.shapes import (
    EncirclingError,
    Hole,
    Slit,
    Tail,
    UnfitShapeError,
    check_open,
    cuts_for_tails,
    shape_for,
)
from taping.rules.tape import Tape

TAPE = Tape()
# 475 mm on the backing, torn 62.5 mm from the first end and 37.5 from the last: numbers a float holds exactly.
CUT = cut_for_stretch(380, 0.0, Tape(pre_stretch=0.25), (50, 30))
LENGTH, FIRST, LAST, LAST_TEAR = 475.0, 62.5, 37.5, 437.5


def test_shapes_are_named_as_therapists_name_them() -> None:
    assert [kind.value for kind in ShapeKind] == ["i", "y", "x", "fan", "web", "donut"]


def test_every_shape_is_described_with_a_source() -> None:
    assert list(SHAPES) == list(ShapeKind)
    assert all(info.label and info.span and info.how and info.lay and info.source for info in SHAPES.values())


# Common practice, no source: usual sizes.
def test_usual_sizes_are_those_of_the_data() -> None:
    assert (CORNER_MM, LEAST_TAIL_MM, HOLE_MM) == (10.0, 8.0, 25.0)


@pytest.mark.parametrize(
    ("kind", "along", "says"),
    [
        (ShapeKind.Y, "Along one tail", "the longer tail counts"),
        (ShapeKind.FAN, "Along one tail", "the longest tail counts"),
        (ShapeKind.I, "From end to end", "along the path"),
    ],
)
def test_spans_of_tails_are_measured_along_each_tail(kind: ShapeKind, along: str, says: str) -> None:
    assert SHAPES[kind].span.startswith(along)
    assert says in SHAPES[kind].span


def test_a_shape_lies_on_the_backing_as_the_piece_does() -> None:
    shape = shape_for(ShapeKind.I, CUT, Tape(square_mm=50.8, width_mm=75.0))

    assert (shape.kind, shape.length_mm, shape.width_mm, shape.square_mm) == (ShapeKind.I, LENGTH, 75.0, 50.8)
    assert shape.anchors_mm == (FIRST, LAST)


def test_a_straight_strip_is_one_whole_piece() -> None:
    shape = shape_for(ShapeKind.I, CUT, TAPE)

    assert (shape.slits, shape.holes, shape.tails) == ((), (), (Tail(0.0, CUT.paper_mm, 0.0, 50.0),))


def test_a_y_is_slit_from_its_base_to_the_end() -> None:
    shape = shape_for(ShapeKind.Y, CUT, TAPE)

    assert (shape.slits, shape.holes) == ((Slit(25.0, FIRST, LENGTH),), ())
    assert shape.tails == (Tail(FIRST, LENGTH, 0.0, 25.0), Tail(FIRST, LENGTH, 25.0, 50.0))


def test_an_x_is_slit_from_both_ends_and_its_arms_are_the_anchors() -> None:
    shape = shape_for(ShapeKind.X, CUT, TAPE)

    assert shape.slits == (Slit(25.0, 0.0, FIRST), Slit(25.0, LAST_TEAR, LENGTH))
    assert shape.tails == (
        Tail(0.0, FIRST, 0.0, 25.0),
        Tail(0.0, FIRST, 25.0, 50.0),
        Tail(LAST_TEAR, LENGTH, 0.0, 25.0),
        Tail(LAST_TEAR, LENGTH, 25.0, 50.0),
    )


def test_a_fan_has_four_even_tails_from_its_base() -> None:
    shape = shape_for(ShapeKind.FAN, CUT, TAPE)

    assert shape.slits == tuple(Slit(height, FIRST, LENGTH) for height in (12.5, 25.0, 37.5))
    assert [tail.width_mm for tail in shape.tails] == [12.5, 12.5, 12.5, 12.5]
    assert [tail.low_mm for tail in shape.tails] == [0.0, 12.5, 25.0, 37.5]


def test_a_web_keeps_both_ends_whole() -> None:
    shape = shape_for(ShapeKind.WEB, CUT, TAPE, tails=3)

    assert shape.slits == (Slit(50 * 1 / 3, FIRST, LAST_TEAR), Slit(50 * 2 / 3, FIRST, LAST_TEAR))
    assert [(tail.from_mm, tail.to_mm) for tail in shape.tails] == [(FIRST, LAST_TEAR)] * 3


def test_a_donut_has_its_hole_in_the_fold() -> None:
    shape = shape_for(ShapeKind.DONUT, CUT, TAPE)

    assert (shape.slits, shape.holes) == ((), (Hole(237.5, 25.0, 25.0),))
    assert shape.tails == (Tail(0.0, LENGTH, 0.0, 50.0),)


@pytest.mark.parametrize("kind", [kind for kind in ShapeKind if kind is not ShapeKind.DONUT])
def test_only_a_donut_has_a_hole(kind: ShapeKind) -> None:
    assert shape_for(kind, CUT, TAPE, hole_mm=40).holes == ()


@pytest.mark.parametrize(
    ("kind", "tails", "corner"),
    [(ShapeKind.I, 1, 10.0), (ShapeKind.Y, 2, 10.0), (ShapeKind.FAN, 5, 5.0), (ShapeKind.WEB, 4, 6.25)],
)
def test_corners_are_no_rounder_than_a_tail_is_wide(kind: ShapeKind, tails: int, corner: float) -> None:
    assert shape_for(kind, CUT, TAPE, tails=tails).corner_mm == corner


@pytest.mark.parametrize("tails", [3, 4, 5, 6])
def test_a_fan_may_have_as_many_tails_as_are_wide_enough(tails: int) -> None:
    assert len(shape_for(ShapeKind.FAN, CUT, TAPE, tails=tails).tails) == tails


@pytest.mark.parametrize(("tails", "each"), [(7, "7.1"), (8, "6.2")])
def test_a_tail_too_narrow_to_hold_is_refused_with_the_most_that_fit(tails: int, each: str) -> None:
    with pytest.raises(UnfitShapeError) as refused:
        shape_for(ShapeKind.FAN, CUT, TAPE, tails=tails)
    assert str(refused.value) == (
        f"fan: {tails} tails of a tape 50 mm wide are {each} mm each, narrower than 8 mm: "
        "they tear and roll up; use at most 6 tails"
    )


@pytest.mark.parametrize(("width", "works"), [(9.0, "a wider tape or another shape"), (15.9, "a wider tape")])
def test_a_tail_of_three_millimetres_is_refused(width: float, works: str) -> None:
    with pytest.raises(UnfitShapeError, match=works):
        shape_for(ShapeKind.FAN, CUT, Tape(width_mm=width), tails=3)


def test_a_tail_of_just_the_least_width_is_cut() -> None:
    assert shape_for(ShapeKind.FAN, CUT, Tape(width_mm=24.0), tails=3).tails[0].width_mm == 8.0
    assert len(shape_for(ShapeKind.FAN, CUT, Tape(width_mm=2.1 * 3), tails=3, least_tail_mm=2.1).tails) == 3


def test_tails_a_thousandth_too_narrow_are_refused() -> None:
    with pytest.raises(UnfitShapeError, match="use a wider tape or another shape"):
        shape_for(ShapeKind.Y, CUT, Tape(width_mm=15.999))


def test_the_most_tails_that_fit_are_counted_to_the_last() -> None:
    with pytest.raises(UnfitShapeError, match="use at most 3 tails"):
        shape_for(ShapeKind.FAN, CUT, Tape(width_mm=24.0), tails=4)


def test_a_clinic_may_choose_another_least_width() -> None:
    assert len(shape_for(ShapeKind.FAN, CUT, TAPE, tails=8, least_tail_mm=6.0).tails) == 8
    with pytest.raises(UnfitShapeError, match="narrower than 13 mm: they tear and roll up; use at most 3 tails"):
        shape_for(ShapeKind.FAN, CUT, TAPE, least_tail_mm=13.0)


def test_a_straight_strip_of_narrow_tape_has_no_tail_to_tear() -> None:
    assert shape_for(ShapeKind.I, CUT, Tape(width_mm=5.0)).tails[0].width_mm == 5.0


@pytest.mark.parametrize(
    ("kind", "tails", "takes"),
    [
        (ShapeKind.I, 2, "I strip: 2 is not a number of tails it can have; it takes 1"),
        (ShapeKind.Y, 3, "Y strip: 3 is not a number of tails it can have; it takes 2"),
        (ShapeKind.X, 1, "X strip: 1 is not a number of tails it can have; it takes 2"),
        (ShapeKind.FAN, 2, "fan: 2 is not a number of tails it can have; it takes 3 to 8"),
        (ShapeKind.FAN, 9, "fan: 9 is not a number of tails it can have; it takes 3 to 8"),
        (ShapeKind.WEB, 1, "web: 1 is not a number of tails it can have; it takes 2 to 8"),
        (ShapeKind.DONUT, True, "donut: True is not a number of tails it can have; it takes 1"),
        (ShapeKind.FAN, 4.0, "fan: 4.0 is not a number of tails it can have; it takes 3 to 8"),
        (ShapeKind.FAN, 0, "fan: 0 is not a number of tails it can have; it takes 3 to 8"),
    ],
)
def test_a_number_of_tails_the_shape_cannot_have_is_refused(kind: ShapeKind, tails: int, takes: str) -> None:
    with pytest.raises(UnfitShapeError) as refused:
        shape_for(kind, CUT, TAPE, tails=tails)
    assert str(refused.value) == takes


@pytest.mark.parametrize("kind", ["I", "star", "", None])
def test_an_unknown_shape_is_refused_with_those_there_are(kind: ShapeKind) -> None:
    with pytest.raises(UnfitShapeError, match="is not a shape; choose one of i, y, x, fan, web, donut"):
        shape_for(kind, CUT, TAPE)


def test_a_hole_leaves_a_rim_on_both_sides() -> None:
    assert shape_for(ShapeKind.DONUT, CUT, TAPE, hole_mm=34.0).holes[0].diameter_mm == 34.0
    with pytest.raises(UnfitShapeError, match=r"must leave 8 mm on both sides .* use a hole of at most 34 mm"):
        shape_for(ShapeKind.DONUT, CUT, TAPE, hole_mm=34.1)


@pytest.mark.parametrize("anchors", [(30.0, 50.0), (50.0, 30.0)])
def test_a_hole_keeps_out_of_the_longer_anchor(anchors: tuple[float, float]) -> None:
    short = cut_for_stretch(110, 0.0, Tape(pre_stretch=0.0), anchors)

    assert shape_for(ShapeKind.DONUT, short, TAPE, hole_mm=10.0).holes == (Hole(55.0, 25.0, 10.0),)
    with pytest.raises(UnfitShapeError, match="use a hole of at most 10 mm"):
        shape_for(ShapeKind.DONUT, short, TAPE, hole_mm=10.1)


def test_a_very_small_hole_is_still_offered() -> None:
    with pytest.raises(UnfitShapeError, match=r"use a hole of at most 0\.5 mm"):
        shape_for(ShapeKind.DONUT, CUT, Tape(width_mm=16.5))


def test_a_piece_without_room_for_any_hole_says_what_would_work() -> None:
    with pytest.raises(UnfitShapeError, match="use a longer piece, a wider tape or shorter anchors"):
        shape_for(ShapeKind.DONUT, CUT, Tape(width_mm=16.0))


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf"), True])
def test_a_hole_or_least_width_that_is_no_length_is_refused(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the hole is"):
        shape_for(ShapeKind.DONUT, CUT, TAPE, hole_mm=bad)
    with pytest.raises(BadNumberError, match="the least width of a tail is"):
        shape_for(ShapeKind.FAN, CUT, TAPE, least_tail_mm=bad)


@settings(max_examples=300)
@given(st.sampled_from(ShapeKind), st.floats(150, 600), st.floats(20, 70), st.floats(0, 1), st.floats(34, 100))
def test_everything_cut_lies_inside_the_piece(
    kind: ShapeKind, span: float, anchor: float, share: float, width: float
) -> None:
    shape = shape_for(kind, cut_for_stretch(span, share, TAPE, (anchor, anchor)), Tape(width_mm=width), hole_mm=5.0)

    assert all(0 < slit.y_mm < width and 0 <= slit.from_mm < slit.to_mm <= shape.length_mm for slit in shape.slits)
    assert all(0 <= tail.low_mm < tail.high_mm <= width + 1e-9 for tail in shape.tails)
    assert sum(tail.width_mm * (tail.to_mm - tail.from_mm) for tail in shape.tails) <= width * shape.length_mm + 1e-6


def test_each_tail_is_cut_for_its_own_span() -> None:
    longer, shorter = cuts_for_tails([300, 260], 0.5, TAPE, (50, 40), off_paper=True)

    assert longer == cut_for_stretch(300, 0.5, TAPE, (50, 40), off_paper=True)
    assert shorter == cut_for_stretch(260, 0.5, TAPE, (50, 40), off_paper=True)


def test_tails_have_usual_anchors_laid_relaxed_where_nothing_is_said() -> None:
    assert cuts_for_tails([300], 0.5, TAPE) == (cut_for_stretch(300, 0.5, TAPE),)


def test_tails_without_a_span_are_measured_first() -> None:
    with pytest.raises(BadNumberError, match="no span was given: measure along each tail"):
        cuts_for_tails([], 0.5, TAPE)
    with pytest.raises(ImpossibleCut):
        cuts_for_tails([300, 90], 0.5, TAPE)


@pytest.mark.parametrize("span", [300.0, 300.1, 600.0])
def test_tape_never_closes_round_a_limb(span: float) -> None:
    with pytest.raises(EncirclingError, match="closes round a limb of 300 mm and could cut off the blood"):
        check_open(span, 300.0)


def test_tape_that_leaves_a_gap_may_lie_across_a_limb() -> None:
    check_open(299.9, 300.0)


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf")])
def test_a_limb_without_girth_is_measured_again(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the way round the limb is"):
        check_open(300, bad)
    with pytest.raises(BadNumberError, match="the span is"):
        check_open(bad, 300)
