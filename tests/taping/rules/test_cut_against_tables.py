"""Cuts against worked examples, tables and other people's rules."""

import pytest

from taping.rules.cut import Cut, ImpossibleCut, cut_by_fraction, cut_for_stretch, cut_of_length
from taping.rules.tape import Tape

INCH = 25.4
BACKING_RELAXED = Tape(pre_stretch=0.0, limit=0.60, square_mm=2 * INCH)


def percent(cut: Cut) -> float:
    return round(cut.stretch * 100, 1)


# Computed from L0 = a1 + a2 + z/(1+s) and P = (1+pre)*L0, in centimetres; worked by hand and with a calculator.
@pytest.mark.parametrize(
    ("span", "anchor", "stretch", "pre", "relaxed", "paper"),
    [
        (30.0, 5.0, 0.25, 0.10, 26.00, 28.60),
        (30.0, 5.0, 0.25, 0.15, 26.00, 29.90),
        (30.0, 5.0, 0.00, 0.10, 30.00, 33.00),
        (30.0, 5.0, 0.10, 0.10, 28.18, 31.00),
        (20.0, 5.0, 0.50, 0.10, 16.67, 18.33),
        (25.0, 5.0, 0.15, 0.10, 23.04, 25.35),
        (40.0, 5.0, 0.35, 0.10, 32.22, 35.44),
        (18.0, 2.5, 0.25, 0.10, 15.40, 16.94),
        (15.0, 5.0, 0.75, 0.10, 12.86, 14.14),
        (25.4, 5.08, 0.25, 0.10, 22.35, 24.59),  # 10 in, anchors 2 in: 8.80 in relaxed, 9.68 in on the backing
    ],
)
def test_cuts_against_worked_examples(
    span: float, anchor: float, stretch: float, pre: float, relaxed: float, paper: float
) -> None:
    tape = Tape(pre_stretch=pre, limit=0.80)
    cut = cut_for_stretch(span * 10, stretch / 0.80, tape, (anchor * 10, anchor * 10))

    assert (round(cut.relaxed_mm / 10, 2), round(cut.paper_mm / 10, 2)) == (relaxed, paper)


# The same "50 %" read in two ways on tape that goes to 140 %: of what it can give, or of its length.
@pytest.mark.parametrize(("share", "limit", "paper"), [(0.50, 0.40, 29.33), (0.50, 1.00, 25.67)])
def test_fifty_percent_against_both_readings_of_the_word(share: float, limit: float, paper: float) -> None:
    assert round(cut_for_stretch(300, share, Tape(limit=limit)).paper_mm / 10, 2) == paper


# Computed: s = p * E.
@pytest.mark.parametrize(
    ("limit", "stretches"),
    [
        (0.40, [4.0, 6.0, 10.0, 14.0, 20.0, 30.0, 40.0]),
        (0.55, [5.5, 8.2, 13.8, 19.2, 27.5, 41.2, 55.0]),
        (0.60, [6.0, 9.0, 15.0, 21.0, 30.0, 45.0, 60.0]),
    ],
)
def test_shares_against_elongation(limit: float, stretches: list[float]) -> None:
    shares = [0.10, 0.15, 0.25, 0.35, 0.50, 0.75, 1.00]
    made = [cut_for_stretch(300, share, Tape(limit=limit)).stretch * 100 for share in shares]

    assert made == pytest.approx(stretches, abs=0.051)


# Computed: the four-fifths cut of a 10 in span with 2 in squares, its 8 in read in five ways.
@pytest.mark.parametrize(
    ("pre", "anchor_in", "off_paper", "middle"),
    [
        (0.00, 2.0, False, 50.0),
        (0.10, 2 / 1.10, False, 75.0),
        (0.05, 2 / 1.05, False, 62.5),
        (0.15, 2 / 1.15, False, 87.5),
        (0.25, 2 / 1.25, False, 112.5),
        (0.10, 2.0, True, 65.0),
        (0.15, 2.0, True, 72.5),
    ],
)
def test_four_fifths_of_ten_inches_against_its_five_readings(
    pre: float, anchor_in: float, off_paper: bool, middle: float
) -> None:
    tape = Tape(pre_stretch=pre, square_mm=2 * INCH)
    cut = cut_by_fraction(10 * INCH, tape, 0.8, (anchor_in * INCH, anchor_in * INCH), off_paper=off_paper)

    assert (cut.squares, cut.stretch * 100) == pytest.approx((4.0, middle))


# Computed: half as long again is 125 % of tape that goes to 140 %, 91 % of one to 155 %, 83 % of one to 160 %.
@pytest.mark.parametrize(("limit", "share"), [(0.40, 125), (0.55, 91), (0.60, 83)])
def test_four_fifths_of_ten_inches_against_what_tapes_can_give(limit: float, share: int) -> None:
    tape = Tape(pre_stretch=0.0, limit=limit, square_mm=2 * INCH)

    assert round(cut_by_fraction(10 * INCH, tape, 0.8, (2 * INCH, 2 * INCH)).share * 100) == share


# Computed: 0.8 S on a backing taken as relaxed, anchors of 2 in. None: no such strip.
EXACT_AND_NEAREST: list[tuple[float, float | None, float | None]] = [
    (5.0, None, None),
    (5.5, 275.0, None),
    (6.0, 150.0, None),
    (7.0, 87.5, 50.0),
    (8.0, 66.7, 100.0),
    (10.0, 50.0, 50.0),
    (12.0, 42.9, 33.3),
    (14.0, 38.9, 25.0),
    (16.0, 36.4, 50.0),
    (18.0, 34.6, 40.0),
    (20.0, 33.3, 33.3),
    (24.0, 31.6, 25.0),
    (30.0, 30.0, 30.0),
]


def made_by_four_fifths(span_in: float, to_square: bool) -> float | None:
    try:
        return percent(cut_by_fraction(span_in * INCH, BACKING_RELAXED, 0.8, (2 * INCH, 2 * INCH), to_square))
    except ImpossibleCut:
        return None


@pytest.mark.parametrize(("span", "exact", "nearest"), EXACT_AND_NEAREST)
def test_four_fifths_against_the_table_of_spans_in_inches(
    span: float, exact: float | None, nearest: float | None
) -> None:
    assert made_by_four_fifths(span, to_square=False) == exact
    assert made_by_four_fifths(span, to_square=True) == nearest


# Computed, as above, whole squares rounded up, cut by length.
@pytest.mark.parametrize(
    ("span", "piece", "middle"),
    [
        (5.5, 6, -25.0),
        (6, 6, 0.0),
        (7, 6, 50.0),
        (8, 8, 0.0),
        (10, 8, 50.0),
        (12, 10, 33.3),
        (14, 12, 25.0),
        (16, 14, 20.0),
        (18, 16, 16.7),
        (20, 16, 33.3),
        (24, 20, 25.0),
        (30, 24, 30.0),
    ],
)
def test_pieces_already_cut_against_the_table_of_squares_rounded_up(span: float, piece: float, middle: float) -> None:
    cut = cut_of_length(span * INCH, piece * INCH, BACKING_RELAXED, (2 * INCH, 2 * INCH))

    assert percent(cut) == middle


# Computed: 0.8 S, anchors of 5 cm; backing relaxed, and stretched by a tenth.
@pytest.mark.parametrize(
    ("pre", "span_cm", "middle"),
    [
        (0.0, 15, 150.0),
        (0.0, 18, 81.8),
        (0.0, 20, 66.7),
        (0.0, 22.5, 56.2),
        (0.0, 25, 50.0),
        (0.0, 30, 42.9),
        (0.0, 40, 36.4),
        (0.0, 60, 31.6),
        (0.10, 20, 120.0),
        (0.10, 25, 83.3),
        (0.10, 30, 69.2),
        (0.10, 40, 57.1),
        (0.10, 60, 48.6),
    ],
)
def test_four_fifths_against_the_table_of_spans_in_centimetres(pre: float, span_cm: float, middle: float) -> None:
    cut = cut_by_fraction(span_cm * 10, Tape(pre_stretch=pre), to_square=False)

    assert cut.stretch * 100 == pytest.approx(middle, abs=0.051)


# Computed: S = 2am/(0.8(1+m) - 1) is the least span the four-fifths cut does not overstretch; anchors of 2 in.
@pytest.mark.parametrize(
    ("most", "span_in"), [(0.40, 13.333), (0.50, 10.0), (0.55, 9.167), (0.60, 8.571), (1.00, 6.667)]
)
def test_four_fifths_against_the_least_span_for_a_tape(most: float, span_in: float) -> None:
    tape = Tape(pre_stretch=0.0, limit=most)
    cut = cut_by_fraction(span_in * INCH, tape, 0.8, (2 * INCH, 2 * INCH), to_square=False)

    assert cut.share == pytest.approx(1.0, abs=1e-3)


# Computed: with the backing stretched by a tenth no span is long enough below 37.5 %; 44 anchors are, for 40 %.
def test_four_fifths_on_stretched_backing_overstretches_every_strip_below_two_metres() -> None:
    def share(span: float) -> float:
        return cut_by_fraction(span, Tape(), to_square=False).share

    assert share(2200) == pytest.approx(1.0)
    assert share(2150) > 1 > share(2250)
    assert cut_by_fraction(1e9, Tape(), to_square=False).stretch == pytest.approx(0.375)


# A Japanese page: measure at the body, cut that length on the backing. Computed for anchors of 5 cm laid relaxed.
@pytest.mark.parametrize(("span_cm", "middle"), [(12.5, 83.3), (15, 37.5), (20, 22.2), (30, 15.8), (50, 12.8)])
def test_cutting_the_span_itself_against_the_rule_of_a_published_page(span_cm: float, middle: float) -> None:
    assert percent(cut_by_fraction(span_cm * 10, Tape(), 1.0, to_square=False)) == middle


def test_cutting_the_span_itself_is_paper_off_where_the_anchors_keep_their_stretch() -> None:
    cut = cut_by_fraction(300, Tape(), 1.0, to_square=False, off_paper=True)

    assert (cut.stretch, cut.share) == pytest.approx((0.10, Tape().paper_off_share))


# A maker's quality page: 8 cm of relaxed tape laid to 15 cm, which it rounds to 200 %. Anchors next to nothing.
def test_a_recoiled_piece_against_a_makers_page() -> None:
    cut = cut_of_length(150, 80, Tape(pre_stretch=0.0, limit=0.9), (1e-6, 1e-6))

    assert percent(cut) == 87.5


# Computed: whole squares of 5 cm are too coarse for a 30 cm span that wants 28.6 cm.
@pytest.mark.parametrize(("squares", "middle"), [(6, 15.8), (5, 57.1)])
def test_whole_squares_against_the_length_they_replace(squares: int, middle: float) -> None:
    assert percent(cut_of_length(300, squares * 50, Tape())) == middle


# Computed: further stretch x beyond the length on the backing, (1+pre)(1+x) - 1.
def test_stretch_beyond_the_backing_against_its_formula() -> None:
    on_backing = 200.0
    cut = cut_of_length(on_backing * 1.25 + 100, on_backing + 110, Tape())

    assert percent(cut) == 37.5


# Rigakuryoho Kagaku 2023;38(4):253-257: six linear regressions give the length to cut from the length wanted.
@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.75, 1.0])
@pytest.mark.parametrize("off_paper", [True, False])
def test_the_cut_is_linear_in_the_span_against_the_published_regressions(share: float, off_paper: bool) -> None:
    papers = [
        cut_for_stretch(span, share, Tape(), (30, 30), off_paper=off_paper).paper_mm for span in (100, 200, 300, 500)
    ]

    assert papers[1] - papers[0] == pytest.approx(papers[2] - papers[1])
    assert papers[3] - papers[2] == pytest.approx(2 * (papers[1] - papers[0]))
