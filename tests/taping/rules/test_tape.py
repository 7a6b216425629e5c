"""A roll's numbers from a ruler, and the names of its tensions."""

import dataclasses
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from taping.rules.amounts import BadNumberError
from taping.rules.tape import BANDS, Tape, band_of

BAD = [0, 0.0, -1.0, float("nan"), float("inf"), float("-inf"), True, "50", None]


def test_a_tape_nobody_measured_has_the_rough_published_numbers() -> None:
    assert dataclasses.astuple(Tape()) == (0.10, 0.40, 50.0, 50.0, 5000.0)


def test_a_tape_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        Tape().limit = 0.5  # type: ignore[misc]


# Computed: paper-off as a share of what the tape can give is pre-stretch over limit.
@pytest.mark.parametrize(
    ("pre", "limit", "percent"),
    [
        (0.10, 0.40, 25.0),
        (0.10, 0.55, 18.2),
        (0.10, 0.60, 16.7),
        (0.15, 0.40, 37.5),
        (0.15, 0.55, 27.3),
        (0.15, 0.60, 25.0),
        (0.0, 0.40, 0.0),
    ],
)
def test_paper_off_against_the_table_of_pre_stretch_and_limit(pre: float, limit: float, percent: float) -> None:
    assert round(Tape(pre_stretch=pre, limit=limit).paper_off_share * 100, 1) == percent


# A Japanese page: to end with 1.00 m of relaxed tape measure 1.10 m on the backing. Encyclopaedia article: the tape
# stretches to 140 % of its original length; a course manual: 35 to 40 %; another page: around 160 %.
@pytest.mark.parametrize(
    ("paper", "relaxed", "full", "pre", "limit"),
    [
        (1100.0, 1000.0, 1400.0, 0.10, 0.40),
        (110.0, 100.0, 135.0, 0.10, 0.35),
        (100.0, 95.0, 152.0, 0.052631578947, 0.60),
        (100.0, 100.0, 155.0, 0.0, 0.55),
        (140.0, 100.0, 140.0, 0.40, 0.40),
    ],
)
def test_three_readings_against_published_tapes(
    paper: float, relaxed: float, full: float, pre: float, limit: float
) -> None:
    assert Tape.measured(paper, relaxed, full) == Tape(pre_stretch=pre, limit=limit)


def test_a_measured_roll_keeps_its_squares_width_and_length() -> None:
    tape = Tape.measured(110, 100, 140, square_mm=50.8, width_mm=75.0, roll_mm=31_500.0)

    assert tape == Tape(square_mm=50.8, width_mm=75.0, roll_mm=31_500.0)


@given(st.floats(0, 0.25), st.floats(0.26, 1.0), st.floats(50, 500))
def test_readings_of_any_tape_give_it_back(pre: float, limit: float, relaxed: float) -> None:
    tape = Tape.measured(relaxed * (1 + pre), relaxed, relaxed * (1 + limit))

    assert (tape.pre_stretch, tape.limit) == pytest.approx((pre, limit), abs=1e-9)


def test_a_piece_that_grew_when_it_was_peeled_is_measured_again() -> None:
    with pytest.raises(BadNumberError, match="101 relaxed is longer than 100 on the backing"):
        Tape.measured(100, 101, 140)


@pytest.mark.parametrize(("full", "before"), [(100.0, "110"), (99.0, "110"), (109.0, "110")])
def test_a_piece_that_did_not_stretch_is_measured_again(full: float, before: str) -> None:
    with pytest.raises(BadNumberError, match=f"{full:g} fully stretched is not longer than {before} before"):
        Tape.measured(110, 100, full)


def test_a_piece_without_any_give_is_measured_again() -> None:
    with pytest.raises(BadNumberError, match="100 fully stretched is not longer than 100 before"):
        Tape.measured(100, 100, 100)


@pytest.mark.parametrize("bad", BAD)
def test_readings_that_are_no_lengths_are_refused_by_name(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the length on the backing"):
        Tape.measured(bad, 100, 140)
    with pytest.raises(BadNumberError, match="the relaxed length"):
        Tape.measured(110, bad, 140)
    with pytest.raises(BadNumberError, match="the fully stretched length"):
        Tape.measured(110, 100, bad)


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize(
    ("field", "name"),
    [
        ("limit", "the most the tape can be stretched"),
        ("square_mm", "the printed square"),
        ("width_mm", "the width of the tape"),
        ("roll_mm", "the length of the roll"),
    ],
)
def test_a_tape_with_a_number_nobody_can_believe_is_refused(field: str, name: str, bad: float) -> None:
    with pytest.raises(BadNumberError, match=name):
        Tape(**{field: bad})


@pytest.mark.parametrize("bad", BAD[2:])
def test_a_stretch_on_the_backing_nobody_can_believe_is_refused(bad: float) -> None:
    with pytest.raises(BadNumberError, match="the stretch on the backing"):
        Tape(pre_stretch=bad)


def test_tape_cannot_lie_on_its_backing_longer_than_it_goes() -> None:
    with pytest.raises(BadNumberError, match=r"stretched by 0.41, more than the 0.4 it can be stretched"):
        Tape(pre_stretch=0.41)
    assert Tape(pre_stretch=0.40).paper_off_share == 1.0


# Course manual: 0, 15, 25, 50, 75, 100 % of the available stretch.
@pytest.mark.parametrize(
    ("share", "name"),
    [
        (0.0, "none"),
        (0.0001, "very light"),
        (0.15, "very light"),
        (0.1501, "light"),
        (0.25, "light"),
        (0.2501, "moderate"),
        (0.50, "moderate"),
        (0.5001, "strong"),
        (0.75, "strong"),
        (0.7501, "full"),
        (1.0, "full"),
        (1, "full"),
    ],
)
def test_bands_against_the_course_manual(share: float, name: str) -> None:
    band = band_of(share)

    assert band is not None
    assert band.name == name


@pytest.mark.parametrize("share", [-0.0001, 1.0001, -1.0, 2.0, float("nan"), float("inf"), float("-inf")])
def test_outside_nothing_to_all_of_it_there_is_no_band(share: float) -> None:
    assert band_of(share) is None


@pytest.mark.parametrize("share", [True, "0.5", None])
def test_a_share_that_is_no_number_is_refused(share: float) -> None:
    with pytest.raises(BadNumberError, match="the share is"):
        band_of(share)


def test_the_bands_rise_from_none_to_all_and_say_what_others_say() -> None:
    ends = [band.upper_share for band in BANDS]

    assert (ends[0], ends[-1]) == (0.0, 1.0)
    assert all(lower < upper for lower, upper in pairwise(ends))
    assert all(band.meaning and band.elsewhere and band.source for band in BANDS)
