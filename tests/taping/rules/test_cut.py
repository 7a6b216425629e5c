"""What a cut says: its fields, its refusals, its cautions and its range."""

import dataclasses
from collections.abc import Callable

import pytest

from taping.rules.amounts import BadNumberError
from taping.rules.cautions import SHORT_ZONE_MM, STRONG_SHARE
from taping.rules.cut import (
    Cut,
    ImpossibleCut,
    cautions_for,
    cut_by_fraction,
    cut_for_stretch,
    cut_of_length,
    share_range,
)
from taping.rules.tape import Tape

TAPE = Tape()
NAN, INF = float("nan"), float("inf")
BAD = [0, -1.0, NAN, INF, -INF, "300", True, None]


def keys(cut: Cut) -> list[str]:
    return [caution.key for caution in cut.cautions]


def text(cut: Cut) -> str:
    (only,) = cut.cautions
    return str(only)


def test_a_cut_has_the_fields_that_others_rely_on() -> None:
    assert [field.name for field in dataclasses.fields(Cut)] == [
        "span_mm",
        "paper_mm",
        "squares",
        "relaxed_mm",
        "anchors_mm",
        "zone_mm",
        "stretch",
        "share",
        "band",
        "tear_marks_mm",
        "cautions",
    ]


def test_a_cut_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        cut_for_stretch(300, 0.5, TAPE).span_mm = 1.0  # type: ignore[misc]


def test_a_cut_tells_everything_about_one_strip() -> None:
    cut = cut_for_stretch(300, 0.5, TAPE, (60, 40))

    assert cut.band is not None
    assert (cut.span_mm, cut.anchors_mm, cut.zone_mm, cut.share) == (300.0, (60.0, 40.0), 200.0, 0.5)
    assert (cut.band.name, cut.stretch, cut.cautions) == ("moderate", 0.2, ())
    assert (cut.squares, cut.paper_mm) == pytest.approx((5.866667, 293.333333))


def test_relaxed_anchors_are_torn_off_longer_than_they_lie() -> None:
    assert cut_for_stretch(300, 0.5, TAPE, (60, 40)).tear_marks_mm == pytest.approx((66.0, 44.0))


def test_anchors_straight_off_the_paper_are_torn_off_as_long_as_they_lie() -> None:
    assert cut_for_stretch(300, 0.5, TAPE, (60, 40), off_paper=True).tear_marks_mm == (60.0, 40.0)


def test_anchors_straight_off_the_paper_take_less_of_the_piece() -> None:
    relaxed, off_paper = cut_for_stretch(300, 0.5, TAPE), cut_for_stretch(300, 0.5, TAPE, off_paper=True)

    assert relaxed.paper_mm - off_paper.paper_mm == pytest.approx(10.0)
    assert off_paper.relaxed_mm == pytest.approx(off_paper.paper_mm / 1.10)


def test_four_fifths_is_the_fraction_where_nothing_is_said_and_goes_to_the_square() -> None:
    assert (cut_by_fraction(320, TAPE).paper_mm, cut_by_fraction(320, TAPE, to_square=False).paper_mm) == (250.0, 256.0)


# Decided here: half way between two squares the longer piece, because it pulls less.
@pytest.mark.parametrize(("span", "squares"), [(281.25, 5.0), (281.2, 4.0), (343.75, 6.0), (343.7, 5.0)])
def test_half_way_between_two_squares_the_longer_piece_is_cut(span: float, squares: float) -> None:
    assert cut_by_fraction(span, TAPE, anchors_mm=(20, 20)).squares == squares


def test_last_bits_do_not_make_half_a_square_shorter() -> None:
    assert 0.55 * 250 / 25 < 5.500000000000001
    assert cut_by_fraction(250 * (1 - 1e-15), Tape(square_mm=25), 0.55, (20, 20)).squares == 6.0


def test_a_strip_shorter_than_half_a_square_cannot_be_cut_at_a_square() -> None:
    with pytest.raises(ImpossibleCut, match="A piece of 0 mm on the backing is not longer than its anchors"):
        cut_by_fraction(30, TAPE, 0.8, (5, 5))


MAKERS: dict[str, Callable[[float], Cut]] = {
    "for a stretch": lambda span: cut_for_stretch(span, 0.5, TAPE),
    "by fraction": lambda span: cut_by_fraction(span, TAPE),
    "of a length": lambda span: cut_of_length(span, 200, TAPE),
}


@pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS)
@pytest.mark.parametrize("span", [100.0, 99.0, 1.0, 100.00000001])
def test_anchors_that_take_the_whole_span_leave_nothing_to_stretch(make: Callable[[float], Cut], span: float) -> None:
    with pytest.raises(
        ImpossibleCut, match=r"Anchors of 50 mm and 50 mm leave nothing to stretch of a span of"
    ) as refused:
        make(span)
    assert "Use anchors that are together shorter than" in refused.value.would_work


@pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS)
@pytest.mark.parametrize("bad", BAD)
def test_a_span_that_is_no_length_is_refused(make: Callable[[float], Cut], bad: float) -> None:
    with pytest.raises(BadNumberError, match="the span is"):
        make(bad)


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("place", [0, 1])
def test_an_anchor_that_is_no_length_is_refused_by_name(bad: float, place: int) -> None:
    pair = (bad, 50.0) if place == 0 else (50.0, bad)

    with pytest.raises(BadNumberError, match=f"the {('first', 'last')[place]} anchor is"):
        cut_for_stretch(300, 0.5, TAPE, pair)


@pytest.mark.parametrize("bad", [50.0, None, (50.0,), (50.0, 50.0, 50.0), ()])
def test_anchors_are_two_lengths(bad: tuple[float, float]) -> None:
    with pytest.raises(BadNumberError, match="they take two lengths, first and last"):
        cut_for_stretch(300, 0.5, TAPE, bad)


@pytest.mark.parametrize("bad", [-0.01, NAN, INF, -INF, "0.5", True, None])
def test_a_share_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the share is"):
        cut_for_stretch(300, bad, TAPE)


@pytest.mark.parametrize("bad", BAD)
def test_a_fraction_or_a_paper_length_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the fraction of the span is"):
        cut_by_fraction(300, TAPE, bad)
    with pytest.raises(BadNumberError, match="the paper length is"):
        cut_of_length(300, bad, TAPE)


@pytest.mark.parametrize(("share", "said"), [(1.0000001, "100"), (1.2, "120"), (50, "5000")])
def test_more_than_the_tape_can_give_cannot_be_asked_for(share: float, said: str) -> None:
    with pytest.raises(ImpossibleCut, match=f"^{said} % of what this tape can give is more than all of it") as refused:
        cut_for_stretch(300, share, TAPE)
    assert refused.value.would_work.startswith("Ask for 100 % or less")


def test_all_of_it_and_none_of_it_can_be_asked_for() -> None:
    bands = [cut_for_stretch(300, share, TAPE).band for share in (0, 1)]

    assert [band.name for band in bands if band] == ["none", "full"]


@pytest.mark.parametrize("paper", [80.0, 109.9, 110.0, 110.0000001])
def test_a_piece_not_longer_than_its_anchors_is_refused_with_the_least_that_works(paper: float) -> None:
    with pytest.raises(ImpossibleCut) as refused:
        cut_of_length(300, paper, TAPE)

    assert refused.value.reason.endswith("is not longer than its anchors (110 mm of it).")
    assert refused.value.would_work.startswith("Cut at least 268 mm: that takes all this tape can give")


def test_anchors_off_the_paper_need_less_of_the_piece() -> None:
    with pytest.raises(ImpossibleCut, match=r"anchors \(100 mm of it\).*Cut at least 258 mm"):
        cut_of_length(300, 100, TAPE, off_paper=True)
    assert cut_of_length(300, 101, TAPE, off_paper=True).share > 1


def test_the_least_that_works_is_within_what_the_tape_can_give() -> None:
    assert cut_of_length(300, 268, TAPE).share <= 1 < cut_of_length(300, 267, TAPE).share


@pytest.mark.parametrize("span", [1.1e12, 1.7e308])
def test_a_length_beyond_all_measure_is_refused(span: float) -> None:
    with pytest.raises(BadNumberError, match=r"the span is .* not beyond measure"):
        cut_for_stretch(span, 0.0, TAPE)


def test_the_longest_lengths_are_still_reckoned_with() -> None:
    with pytest.raises(ImpossibleCut, match="Cut at least"):
        cut_of_length(1e12, 1, TAPE)
    assert cut_by_fraction(1e12, TAPE, 1e12, to_square=False).share == pytest.approx(-2.5)


def test_a_refusal_says_first_why_and_then_what_would_work() -> None:
    refused = ImpossibleCut("Too short.", "Cut more.")

    assert (str(refused), refused.reason, refused.would_work) == ("Too short. Cut more.", "Too short.", "Cut more.")


# Cautions: 100 mm and 75 % are our own limits; common practice, no source.
@pytest.mark.parametrize(("span", "found"), [(199.9, ["short_zone"]), (200.0, []), (200.1, [])])
def test_a_zone_under_a_hundred_millimetres_is_a_caution(span: float, found: list[str]) -> None:
    assert keys(cut_for_stretch(span, 0.25, TAPE)) == found


def test_a_short_zone_is_explained_with_its_length() -> None:
    assert text(cut_for_stretch(180, 0.25, TAPE)).startswith(
        f"Short stretch zone: 80 mm between the anchors, under {SHORT_ZONE_MM:.0f} mm."
    )


@pytest.mark.parametrize(("share", "found"), [(0.75, []), (0.7501, ["strong_tension"]), (1.0, ["strong_tension"])])
def test_tension_above_three_quarters_is_a_caution(share: float, found: list[str]) -> None:
    assert keys(cut_for_stretch(300, share, TAPE)) == found


def test_three_quarters_read_back_from_the_piece_is_no_caution() -> None:
    for span in (237, 300, 333, 457):
        assert keys(cut_of_length(span, cut_for_stretch(span, STRONG_SHARE, TAPE).paper_mm, TAPE)) == []


def test_strong_tension_is_explained_with_its_share() -> None:
    assert text(cut_for_stretch(300, 0.8, TAPE)).startswith(
        "Strong tension: 80 % of what this tape can give, above 75 %"
    )


def test_a_share_near_a_whole_percent_keeps_its_own_value() -> None:
    assert cut_of_length(300, cut_for_stretch(300, 0.25005, TAPE).paper_mm, TAPE).share == pytest.approx(0.25005)


def test_unequal_anchors_count_each_for_itself() -> None:
    wanted = cut_for_stretch(300, 0.5, TAPE, (60, 40))

    assert cut_of_length(300, wanted.paper_mm, TAPE, (60, 40)).share == pytest.approx(0.5)
    with pytest.raises(ImpossibleCut, match="Anchors of 60 mm and 40 mm leave nothing"):
        cut_for_stretch(100, 0.5, TAPE, (60, 40))
    with pytest.raises(ImpossibleCut, match=r"anchors \(121 mm of it\)"):
        cut_of_length(300, 120, TAPE, (70, 40))


def test_the_length_that_works_is_the_one_for_anchors_off_the_paper() -> None:
    assert text(cut_of_length(300, 345, TAPE, off_paper=True)).endswith("Cut at most 320 mm for this span.")


def test_a_piece_beyond_the_tape_is_reported_with_the_length_that_works() -> None:
    cut = cut_of_length(300, 250, TAPE)

    assert (cut.share > 1, cut.band, keys(cut)) == (True, None, ["beyond_tape"])
    assert "would need 142.9 % of what this tape can give" in text(cut)
    assert text(cut).endswith("cut at least 268 mm.")


def test_loose_tape_is_reported_with_the_length_that_works() -> None:
    cut = cut_of_length(300, 345, TAPE)

    assert (cut.stretch < 0, cut.band, keys(cut)) == (True, None, ["loose_tape"])
    assert text(cut).endswith("Cut at most 330 mm for this span.")


def test_the_length_that_works_is_rounded_to_the_safe_side() -> None:
    assert text(cut_of_length(300.5, 345, TAPE)).endswith("Cut at most 330 mm for this span.")
    assert text(cut_of_length(302, 250, TAPE)).endswith("cut at least 269 mm.")


def test_a_whole_millimetre_that_works_is_not_rounded_away() -> None:
    assert text(cut_of_length(240, 160, TAPE)).endswith("cut at least 220 mm.")
    assert text(cut_of_length(299.9999999999, 345, TAPE)).endswith("Cut at most 330 mm for this span.")


def test_tape_that_lies_exactly_relaxed_is_not_loose() -> None:
    for span in (237, 300, 333, 457):
        cut = cut_of_length(span, cut_for_stretch(span, 0, TAPE).paper_mm, TAPE)
        assert (cut.stretch, cut.share, keys(cut)) == (0.0, 0.0, [])


def test_all_the_tape_can_give_read_back_from_the_piece_is_not_beyond_it() -> None:
    for span in (237, 300, 333, 457):
        cut = cut_of_length(span, cut_for_stretch(span, 1, TAPE).paper_mm, TAPE)
        assert (cut.share, keys(cut)) == (1.0, ["strong_tension"])


@pytest.mark.parametrize(("roll", "found"), [(285.0, ["longer_than_roll"]), (286.1, [])])
def test_a_piece_longer_than_a_roll_is_a_caution(roll: float, found: list[str]) -> None:
    assert keys(cut_for_stretch(300, 0.625, Tape(roll_mm=roll))) == found


def test_a_piece_as_long_as_the_roll_can_still_be_cut() -> None:
    assert keys(cut_for_stretch(300, 0.625, Tape(roll_mm=cut_for_stretch(300, 0.625, TAPE).paper_mm))) == []


def test_a_short_zone_and_strong_tension_are_both_said() -> None:
    assert keys(cut_for_stretch(150, 0.9, TAPE)) == ["short_zone", "strong_tension"]


@pytest.mark.parametrize(
    ("who", "said"), [("fragile_skin", "for fragile skin:"), ("child", "for a child:"), ("neck", "for the neck:")]
)
def test_more_than_paper_off_is_a_caution_on_delicate_skin(who: str, said: str) -> None:
    found = cautions_for(cut_for_stretch(300, 0.26, TAPE), TAPE, **{who: True})

    assert [caution.key for caution in found] == ["paper_off_exceeded"]
    assert said in found[0].text
    assert "26 % of what this tape can give, where the tape as it comes off the backing has 25 %" in found[0].text


def test_hardly_more_than_paper_off_is_more() -> None:
    assert len(cautions_for(cut_for_stretch(300, 0.250001, TAPE), TAPE, child=True)) == 1


def test_delicate_skin_is_named_together() -> None:
    (found,) = cautions_for(cut_for_stretch(300, 0.5, TAPE), TAPE, fragile_skin=True, child=True, neck=True)

    assert "for fragile skin and a child and the neck:" in found.text


def test_paper_off_itself_is_no_caution_on_delicate_skin() -> None:
    read_back = cut_of_length(300, 300, TAPE, off_paper=True)

    assert cautions_for(cut_for_stretch(300, 0.25, TAPE), TAPE, child=True) == ()
    assert cautions_for(read_back, TAPE, child=True) == ()


def test_on_other_skin_only_the_cautions_of_the_cut_are_said() -> None:
    cut = cut_for_stretch(300, 0.9, TAPE)

    assert cautions_for(cut, TAPE) == cut.cautions
    assert [caution.key for caution in cautions_for(cut, TAPE, neck=True)] == ["strong_tension", "paper_off_exceeded"]


# Computed: the same piece over 295 and 305 mm.
def test_the_range_is_what_the_same_piece_makes_over_a_span_measured_wrong() -> None:
    cut = cut_for_stretch(300, 0.5, TAPE)
    found = share_range(cut, TAPE)

    assert found.low == pytest.approx(cut_of_length(295, cut.paper_mm, TAPE).share)
    assert found.high == pytest.approx(cut_of_length(305, cut.paper_mm, TAPE).share)
    assert (str(found), str(share_range(cut, TAPE, 10))) == ("42 to 58 %", "35 to 65 %")


def test_without_tolerance_the_range_is_the_share() -> None:
    found = share_range(cut_for_stretch(300, 0.5, TAPE), TAPE, 0)

    assert (found.low, found.high, str(found)) == (0.5, 0.5, "50 to 50 %")


@pytest.mark.parametrize(("share", "said"), [(0.0, "0 to 0 %"), (1.0, "100 to 100 %")])
def test_the_ends_of_the_scale_are_said_as_they_are(share: float, said: str) -> None:
    assert str(share_range(cut_for_stretch(300, share, TAPE), TAPE, 0)) == said


def test_a_range_that_reaches_below_nothing_is_loose() -> None:
    assert str(share_range(cut_for_stretch(300, 0.0, TAPE), TAPE)) == "loose to 7 %"
    assert str(share_range(cut_of_length(300, 345, TAPE), TAPE)) == "loose"


def test_a_zone_smaller_than_the_slip_of_the_measure_may_be_nothing() -> None:
    found = share_range(cut_for_stretch(103, 0.5, TAPE), TAPE)

    assert (found.low, found.high) == pytest.approx((-1 / 0.4, (8 / 2.5 - 1) / 0.4))


@pytest.mark.parametrize("bad", [-1, NAN, INF, "5", True])
def test_a_tolerance_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the tolerance is"):
        share_range(cut_for_stretch(300, 0.5, TAPE), TAPE, bad)


def test_a_tolerance_as_long_as_the_span_is_refused() -> None:
    cut = cut_for_stretch(300, 0.5, TAPE)

    with pytest.raises(BadNumberError, match="the tolerance is 300 mm: it takes less than the span of 300 mm"):
        share_range(cut, TAPE, 300)
    assert share_range(cut, TAPE, 299.9).low == pytest.approx(-2.5)
