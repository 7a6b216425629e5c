"""A cut explained as a therapist would work it out on paper."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.rules.cut import cut_for_stretch, cut_of_length
from taping.rules.cut_reading import anchors_off_paper, reasons_for
from taping.rules.tape import Tape

TAPE = Tape()


def test_relaxed_anchors_are_explained_step_by_step() -> None:
    assert reasons_for(cut_for_stretch(300, 0.625, TAPE, (60, 40)), TAPE) == (
        "Stretch zone: 300 - 60 - 40 = 200 mm between the anchors.",
        "Relaxed length: 60 + 40 + 200 / 1.25 = 260 mm; the anchors have no stretch.",
        "Paper length: 260 x 1.1 = 286 mm, 5.7 squares; this tape lies on its backing stretched by 10 %.",
        "Tension: the zone is 25 % longer than relaxed, which is 62.5 % of the 40 % this tape can give: strong.",
        "Tear the backing 66 mm from the first end and 44 mm from the last.",
    )


def test_anchors_off_the_paper_are_explained_step_by_step() -> None:
    assert reasons_for(cut_for_stretch(320, 0.25, TAPE, (60, 40), off_paper=True), TAPE) == (
        "Stretch zone: 320 - 60 - 40 = 220 mm between the anchors.",
        "Relaxed length: 320 / 1.1 = 290.9 mm.",
        "Paper length: 60 + 40 + 1.1 x 220 / 1.1 = 320 mm, 6.4 squares; this tape lies on its backing stretched by "
        "10 %, and the anchors keep that.",
        "Tension: the zone is 10 % longer than relaxed, which is 25 % of the 40 % this tape can give: light.",
        "Tear the backing 60 mm from the first end and 40 mm from the last.",
    )


def test_a_piece_beyond_the_tape_is_explained_as_such() -> None:
    assert reasons_for(cut_of_length(300, 250, TAPE), TAPE)[3] == (
        "Tension: the zone is 57.1 % longer than relaxed, which is 142.9 % of the 40 % this tape can give, "
        "more than it has."
    )


# Computed: 220 mm relaxed in a zone of 200 is a stretch of 200/220 - 1.
def test_loose_tape_is_explained_by_what_is_too_long() -> None:
    assert reasons_for(cut_of_length(300, 352, TAPE), TAPE)[3] == (
        "Tension: none; the zone is shorter than the tape laid in it, by 9.1 %."
    )


def test_nothing_stretched_is_not_loose() -> None:
    assert reasons_for(cut_for_stretch(300, 0, TAPE), TAPE)[3].startswith("Tension: the zone is 0 % longer")


@pytest.mark.parametrize(("off_paper", "pre", "kept"), [(True, 0.1, True), (False, 0.1, False), (False, 0.0, True)])
def test_a_cut_tells_how_its_anchors_are_laid(off_paper: bool, pre: float, kept: bool) -> None:
    assert anchors_off_paper(cut_for_stretch(300, 0.5, Tape(pre_stretch=pre), off_paper=off_paper)) is kept


@settings(max_examples=300, deadline=None)
@given(st.integers(150, 600), st.integers(10, 60), st.floats(0, 1), st.booleans())
def test_the_sums_shown_come_out(span: int, anchor: int, share: float, off_paper: bool) -> None:
    reasons = reasons_for(cut_for_stretch(span, share, TAPE, (anchor, anchor), off_paper=off_paper), TAPE)
    for reason in reasons[:3]:
        sum_shown, result = re.findall(r": ([0-9.+/x -]+) = ([0-9.]+) mm", reason)[0]

        assert float(eval(sum_shown.replace("x", "*"))) == pytest.approx(float(result), abs=0.12)
