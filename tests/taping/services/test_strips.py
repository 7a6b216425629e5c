"""Everything a page says about a strip comes from the rules, for this patient and this roll."""

from dataclasses import replace

import pytest

from clinic.models import Clinic
from taping.models import Strip, TapeRoll
from taping.rules.cut import cut_by_fraction, cut_for_stretch, cut_of_length, share_range
from taping.rules.cut_reading import reasons_for
from taping.rules.places import PLACES
from taping.rules.shape_kinds import ShapeKind
from taping.rules.shapes import UnfitShapeError
from taping.rules.tape import Tape
from taping.rules.technique import Direction, Start, laying_for, steps_for
from taping.services.strips import (
    ROUGH_TAPE,
    StripValues,
    strip_numbers,
    strip_result,
    tape_of,
    values_again,
    values_of,
)
from tests.factories import StripFactory

VALUES = StripValues(
    shape=ShapeKind.I,
    start=Start.ONE_END,
    direction=Direction.TOWARDS_ORIGIN,
    cut=cut_for_stretch(300, 0.2, ROUGH_TAPE),
)


def keys(values: StripValues, goal: str = "ease_muscle", **more: object) -> set[str]:
    return {caution.key for caution in strip_result(values, goal=goal, **more).cautions}  # type: ignore[arg-type]


def test_result_is_made_of_the_rules_answers() -> None:
    result = strip_result(VALUES, goal="ease_muscle")
    assert result.range == share_range(VALUES.cut, Tape())
    assert result.habit == cut_by_fraction(300, Tape())
    assert result.sums == reasons_for(VALUES.cut, Tape())
    assert result.steps == steps_for(Start.ONE_END, ShapeKind.I)
    assert (result.label, result.measured, result.laying, result.cautions) == ("I strip", False, None, ())


def test_zone_before_and_after_differ_by_the_stretch() -> None:
    result = strip_result(VALUES, goal="ease_muscle")
    # 20 % of a limit of 40 % is a stretch of 8 %: 200 / 1.08
    assert result.zone_relaxed_mm == pytest.approx(185.185, abs=0.001)


def test_place_says_where_to_lay_it() -> None:
    key = next(iter(PLACES))
    result = strip_result(replace(VALUES, place=key), goal="ease_muscle")
    assert result.laying == laying_for(PLACES[key], Direction.TOWARDS_ORIGIN)


def test_place_that_the_data_no_longer_know_is_left_out() -> None:
    assert strip_result(replace(VALUES, place="gone"), goal="ease_muscle").laying is None


def test_habit_that_cannot_be_cut_says_why() -> None:
    short = replace(VALUES, cut=cut_for_stretch(130, 0.2, ROUGH_TAPE))
    result = strip_result(short, goal="ease_muscle")
    assert result.habit is None
    assert result.habit_why.startswith("A piece of 100 mm on the backing is not longer than its anchors")


@pytest.mark.parametrize(
    ("answers", "region", "cautioned"),
    [
        ({"fragile_skin": "yes"}, "knee", True),
        ({"child": "yes"}, "knee", True),
        ({"child": "not_known"}, "knee", True),
        ({}, "neck", True),
        ({"child": "no", "fragile_skin": "no"}, "knee", False),
        ({}, "knee", False),
    ],
)
def test_more_than_paper_off_is_cautioned_where_skin_is_weak(
    answers: dict[str, str], region: str, cautioned: bool
) -> None:
    strong = replace(VALUES, cut=cut_for_stretch(300, 0.5, ROUGH_TAPE))
    found = keys(strong, goal="support_muscle", answers=answers, region=region)
    assert ("paper_off_exceeded" in found) is cautioned


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"shape": ShapeKind.FAN}, "unusual_shape"),
        ({"start": Start.CENTRE}, "unusual_start"),
        ({"cut": cut_for_stretch(300, 0.6, ROUGH_TAPE)}, "unusual_tension"),
        ({"cut": cut_for_stretch(150, 0.2, ROUGH_TAPE)}, "short_zone"),
        ({"cut": cut_of_length(300, 360, ROUGH_TAPE)}, "loose_tape"),
    ],
)
def test_what_is_unusual_is_said_and_not_refused(change: dict[str, object], key: str) -> None:
    assert key in keys(replace(VALUES, **change))  # type: ignore[arg-type]


def test_tails_that_cannot_be_cut_are_refused() -> None:
    with pytest.raises(UnfitShapeError):
        strip_result(replace(VALUES, shape=ShapeKind.FAN, tails=8), goal="ease_muscle")


def test_tape_without_a_roll_is_the_rough_one() -> None:
    assert tape_of(None) == Tape()
    assert tape_of(TapeRoll(name="Blue", limit=0.5)).limit == 0.5


@pytest.mark.parametrize(("kind", "tails"), [("i", 1), ("y", 2), ("x", 2), ("fan", 4), ("web", 4), ("donut", 1)])
def test_usual_number_of_tails_is_stored(kind: str, tails: int) -> None:
    assert strip_numbers(replace(VALUES, shape=ShapeKind(kind)))["tails"] == tails


@pytest.mark.django_db
@pytest.mark.parametrize("off_paper", [False, True])
def test_stored_strip_reads_back_as_it_was(clinic: Clinic, off_paper: bool) -> None:
    cut = cut_for_stretch(260, 0.35, ROUGH_TAPE, (40, 60), off_paper=off_paper)
    values = replace(VALUES, cut=cut, off_paper=off_paper, tails=1)
    row: Strip = StripFactory(**strip_numbers(values))
    row.refresh_from_db()
    again = values_of(row)
    assert again.cut.share == pytest.approx(0.35)
    assert replace(again, cut=cut) == values


@pytest.mark.django_db
@pytest.mark.parametrize(("stored", "share"), [(-0.2, 0.0), (0.4, 0.4), (1.3, 1.0)])
def test_same_strip_again_keeps_to_what_tape_can_give(clinic: Clinic, stored: float, share: float) -> None:
    row: Strip = StripFactory(share=stored)
    assert values_again(row, roll=None).cut == cut_for_stretch(300, share, Tape(), (50, 50))
