"""The form of a strip gives the cut that the rules give, and puts every refusal where it can be mended."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from taping.forms.strips import DIRECTION_WORDS, START_WORDS, StripForm, initial_for
from taping.models import SkinScreen, StripPlan, TapeRoll
from taping.rules.cut import cut_for_stretch, cut_of_length
from taping.rules.lengths import Unit
from taping.rules.places import places_in
from taping.rules.shape_kinds import ShapeKind
from taping.rules.tape import Tape
from taping.rules.technique import TECHNIQUES, Direction, Goal, Start

PLAN = StripPlan(screen=SkinScreen(region="knee", side="left"))
BLUE = TapeRoll(pk=7, name="Blue", colour="light", pre_stretch=0.05, limit=0.6)
FILLED = {
    "span": "30",
    "by": "tension",
    "tension": "25",
    "shape": "i",
    "start": "one_end",
    "direction": "towards_origin",
    "anchor_first": "5",
    "anchor_last": "4",
}


def form(unit: Unit = Unit.CM, **more: Any) -> StripForm:
    return StripForm({**FILLED, **more}, plan=PLAN, unit=unit, rolls=[BLUE])


def valid(made: StripForm) -> StripForm:
    assert made.is_valid(), made.errors
    return made


def test_cut_is_the_rules_cut() -> None:
    values = valid(form()).values
    assert values.cut == cut_for_stretch(300, 0.25, Tape(), (50, 40))
    assert (values.shape, values.start, values.direction) == (ShapeKind.I, Start.ONE_END, Direction.TOWARDS_ORIGIN)


def test_chosen_roll_is_reckoned_with() -> None:
    values = valid(form(roll="7")).values
    assert values.roll is BLUE
    assert values.cut == cut_for_stretch(300, 0.25, Tape(pre_stretch=0.05, limit=0.6), (50, 40))


def test_piece_already_cut_ignores_the_tension() -> None:
    values = valid(form(by="paper", paper="28", tension="")).values
    assert values.cut == cut_of_length(300, 280, Tape(), (50, 40))


def test_anchors_off_the_paper() -> None:
    values = valid(form(off_paper="on")).values
    assert values.cut == cut_for_stretch(300, 0.25, Tape(), (50, 40), off_paper=True)
    assert values.off_paper is True


def test_places_are_those_of_the_region() -> None:
    offered = [key for key, _ in form().fields["place"].choices]  # type: ignore[attr-defined]
    assert offered == ["", *(place.key for place in places_in("knee"))]
    assert list(form(place="upper_trapezius").errors) == ["place"]


@pytest.mark.parametrize("shape", list(ShapeKind))
def test_every_shape_can_be_chosen(shape: ShapeKind) -> None:
    assert valid(form(shape=shape.value)).values.shape is shape


@pytest.mark.parametrize(
    ("given_", "field"),
    [
        ({"span": "9"}, "span"),
        ({"by": "paper", "paper": "9.9"}, "paper"),
        ({"shape": "fan", "tails": "8"}, "tails"),
        ({"shape": "i", "tails": "3"}, "tails"),
        ({"tension": "-1"}, "tension"),
        ({"tension": "100.5"}, "tension"),
        ({"tension": "nan"}, "tension"),
        ({"tension": "12.34"}, "tension"),
        ({"by": ""}, "by"),
        ({"roll": "8"}, "roll"),
        ({"start": "middle"}, "start"),
        ({"direction": "up"}, "direction"),
        ({"anchor_last": "0"}, "anchor_last"),
        ({"tails": "two"}, "tails"),
    ],
)
def test_refusals_stand_at_their_field(given_: dict[str, Any], field: str) -> None:
    made = form(**given_)
    assert not made.is_valid()
    assert list(made.errors) == [field]


@pytest.mark.parametrize("tension", ["0", "100"])
def test_ends_of_the_tension_are_taken(tension: str) -> None:
    assert valid(form(tension=tension)).values.cut.share == float(tension) / 100


@pytest.mark.parametrize("tension", ["12.5", "12,5", " 12,5 % ", "12.5%"])
def test_tension_takes_the_decimal_comma_that_lengths_take(tension: str) -> None:
    assert valid(form(tension=tension)).values.cut.share == 0.125


@pytest.mark.parametrize("tails", ["0", "9", "99"])
def test_too_many_tails_are_said_to_be_tails(tails: str) -> None:
    assert form(shape="fan", tails=tails).errors["tails"] == ["Give a number of tails from 1 to 8."]


@pytest.mark.parametrize("goal", list(Goal))
@pytest.mark.parametrize("unit", [Unit.CM, Unit.INCH])
def test_what_is_taught_for_a_goal_is_a_valid_beginning(goal: Goal, unit: Unit) -> None:
    technique = TECHNIQUES[goal]
    initial = initial_for(technique, unit, [BLUE])
    blank = StripForm(plan=PLAN, unit=unit, rolls=[BLUE], initial=initial)
    data = {name: blank[name].value() for name in blank.fields if blank[name].value() not in (None, False)}
    made = StripForm({**data, "span": "30 cm"}, plan=PLAN, unit=unit, rolls=[BLUE])
    values = valid(made).values
    assert (values.shape, values.start, values.roll) == (technique.shapes[0].kind, technique.start, BLUE)
    assert technique.low == pytest.approx(values.cut.share)


@pytest.mark.parametrize(("unit", "said"), [(Unit.CM, "In centimetres."), (Unit.INCH, "In inches.")])
def test_span_says_which_unit_a_bare_number_is_read_in(unit: Unit, said: str) -> None:
    assert StripForm(plan=PLAN, unit=unit, rolls=[BLUE]).fields["span"].help_text.startswith(said)


def test_inch_clinics_begin_with_round_anchors() -> None:
    assert initial_for(TECHNIQUES[Goal.EASE_PAIN], Unit.INCH, [])["anchor_first"] == pytest.approx(50.8)
    assert initial_for(TECHNIQUES[Goal.EASE_PAIN], Unit.INCH, [])["roll"] == ""


def test_every_direction_and_start_has_words() -> None:
    assert set(DIRECTION_WORDS) == set(Direction)
    assert set(START_WORDS) == set(Start)


@settings(max_examples=60, deadline=None)
@given(span=st.integers(110, 1900), tension=st.integers(0, 100))
def test_typed_millimetres_reach_the_rules_unchanged(span: int, tension: int) -> None:
    cut = valid(form(span=f"{span} mm", tension=str(tension))).values.cut
    assert cut == cut_for_stretch(float(span), tension / 100, Tape(), (50, 40))


@settings(max_examples=60, deadline=None)
@given(typed=st.dictionaries(st.sampled_from(sorted(FILLED)), st.text(max_size=12)))
def test_no_input_crashes_it(typed: dict[str, Any]) -> None:
    made = form(**typed)
    assert made.is_valid() is ("values" in made.cleaned_data)
