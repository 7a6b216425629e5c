"""A plan is a draft that two tablets cannot overwrite, and that ends as tape or put away."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from clinic.models import Clinic, Event
from clinic.services.events import Actor
from taping.models import StripPlan, TapeRoll
from taping.rules.cut import cut_for_stretch, cut_of_length
from taping.rules.shape_kinds import ShapeKind
from taping.rules.technique import Direction, Start
from taping.services.plans import (
    MOST_STRIPS,
    PlanChanged,
    plan_change,
    plan_close,
    plan_start,
    strip_put,
    strip_remove,
    strips_again,
)
from taping.services.refusals import TapingRefused
from taping.services.strips import ROUGH_TAPE, StripValues
from tests.factories import ApplicationFactory, ScreenFactory, StripFactory, StripPlanFactory, UserFactory
from tests.taping.screening import answers

pytestmark = pytest.mark.django_db

STRIP = StripValues(
    shape=ShapeKind.I,
    start=Start.ONE_END,
    direction=Direction.TOWARDS_ORIGIN,
    cut=cut_for_stretch(300, 0.25, ROUGH_TAPE),
)


@pytest.fixture
def plan(clinic: Clinic) -> StripPlan:
    made: StripPlan = StripPlanFactory()
    return made


@pytest.fixture
def by(plan: StripPlan, now: datetime) -> dict[str, Any]:
    """Who and when, for every service."""
    return {"actor": Actor(user=plan.made_by), "now": now}


def test_plan_begins_with_the_goal_of_the_screen(clinic: Clinic, now: datetime) -> None:
    screen = ScreenFactory(goal="steady_joint")
    plan = plan_start(actor=Actor(user=UserFactory()), now=now, screen=screen)
    assert (plan.goal, plan.version, plan.screen) == ("steady_joint", 1, screen)
    assert plan_start(actor=Actor(user=UserFactory()), now=now, screen=screen) == plan
    assert Event.objects.filter(verb="plan.started").count() == 1


@pytest.mark.parametrize("outcome", ["do_not_tape", "prepare_first", "unfinished"])
def test_screen_must_permit_tape(clinic: Clinic, now: datetime, outcome: str) -> None:
    with pytest.raises(TapingRefused, match="does not permit tape"):
        plan_start(actor=Actor(user=UserFactory()), now=now, screen=ScreenFactory(outcome=outcome))


def test_screen_must_be_of_the_day(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(TapingRefused, match="not from today"):
        plan_start(actor=Actor(user=UserFactory()), now=now + timedelta(days=1), screen=ScreenFactory())


def test_unknown_goal_is_refused(clinic: Clinic, now: datetime) -> None:
    with pytest.raises(TapingRefused) as refused:
        plan_start(actor=Actor(user=UserFactory()), now=now, screen=ScreenFactory(), goal="win")
    assert refused.value.field == "goal"


@pytest.mark.parametrize("heart", ["yes", "not_known", ""])
def test_goal_whose_stops_the_screen_did_not_count_is_refused(plan: StripPlan, by: dict[str, Any], heart: str) -> None:
    """Common practice, no source: swelling is not moved in heart or kidney failure, whatever the tape was first for."""
    plan.screen.answers = {key: word for key, word in answers(heart_failure=heart).items() if word}
    plan.screen.save()
    with pytest.raises(TapingRefused, match="this one also asks: Does the patient have heart failure") as refused:
        plan_change(plan=plan, values={"goal": "move_swelling"}, **by)
    plan.refresh_from_db()
    assert (refused.value.field, plan.goal) == ("goal", "ease_pain")


def test_goal_may_change_where_its_stops_are_answered_no(plan: StripPlan, by: dict[str, Any]) -> None:
    plan.screen.answers = answers()
    plan.screen.save()
    assert plan_change(plan=plan, values={"goal": "move_swelling"}, **by).goal == "move_swelling"


def test_strips_again_bring_no_goal_that_the_screen_did_not_count(plan: StripPlan, by: dict[str, Any]) -> None:
    old = StripPlanFactory(screen__patient=plan.screen.patient, goal="move_swelling")
    StripFactory(plan=old)
    with pytest.raises(TapingRefused, match="screened for another goal"):
        strips_again(plan=plan, last=ApplicationFactory(plan=old, patient=plan.screen.patient), **by)
    plan.refresh_from_db()
    assert (plan.goal, plan.strips.count()) == ("ease_pain", 0)


def test_strip_keeps_the_numbers_that_were_shown(plan: StripPlan, by: dict[str, Any]) -> None:
    roll = TapeRoll.objects.create(name="Blue", pre_stretch=0.08)
    strip_put(plan=plan, strip=replace(STRIP, roll=roll, tails=1), version=1, **by)
    row = plan.strips.get()
    assert (row.position, row.shape, row.start, row.direction) == (1, "i", "one_end", "towards_origin")
    assert (row.span_mm, row.paper_mm, row.share, row.stretch) == (300, STRIP.cut.paper_mm, 0.25, 0.1)
    assert (row.anchor_first_mm, row.anchor_last_mm, row.roll) == (50, 50, roll)


def test_every_change_raises_the_version(plan: StripPlan, by: dict[str, Any]) -> None:
    strip_put(plan=plan, strip=STRIP, version=1, **by)
    plan_change(plan=plan, values={"goal": "ease_muscle", "posture": "sitting"}, version=2, **by)
    strip_remove(plan=plan, position=1, version=3, **by)
    plan.refresh_from_db()
    assert (plan.version, plan.goal, plan.posture, plan.strips.count()) == (4, "ease_muscle", "sitting", 0)


def test_what_changes_nothing_leaves_the_version(plan: StripPlan, by: dict[str, Any]) -> None:
    plan_change(plan=plan, values={"goal": plan.goal}, version=1, **by)
    strip_remove(plan=plan, position=9, version=1, **by)
    plan.refresh_from_db()
    assert plan.version == 1


def test_second_tablet_is_told_who_and_when(plan: StripPlan, by: dict[str, Any]) -> None:
    strip_put(plan=plan, strip=STRIP, version=1, **by)
    with pytest.raises(PlanChanged) as changed:
        strip_put(plan=plan, strip=STRIP, version=1, **by)
    assert changed.value.message.startswith(f"{plan.made_by.full_name} changed this plan at 10:00.")
    assert plan.strips.count() == 1


@pytest.mark.parametrize("values", [{"version": 9}, {"screen": None}])
def test_only_its_words_can_be_changed(plan: StripPlan, by: dict[str, Any], values: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="cannot be changed"):
        plan_change(plan=plan, values=values, **by)


def test_positions_go_on_after_one_was_taken_out(plan: StripPlan, by: dict[str, Any]) -> None:
    for _ in range(2):
        strip_put(plan=plan, strip=STRIP, **by)
    strip_remove(plan=plan, position=1, **by)
    assert strip_put(plan=plan, strip=STRIP, **by).position == 3


def test_strips_are_bounded(plan: StripPlan, by: dict[str, Any]) -> None:
    for position in range(MOST_STRIPS):
        StripFactory(plan=plan, position=position)
    with pytest.raises(TapingRefused, match="takes 20 strips"):
        strip_put(plan=plan, strip=STRIP, **by)


def test_closed_plan_takes_nothing_more(plan: StripPlan, by: dict[str, Any]) -> None:
    plan_close(plan=plan, why="the patient changed her mind", **by)
    plan.refresh_from_db()
    assert (plan.closed_at, plan.closed_why) == (by["now"], "the patient changed her mind")
    with pytest.raises(TapingRefused, match="closed without taping"):
        strip_put(plan=plan, strip=STRIP, **by)


def test_closing_needs_a_reason(plan: StripPlan, by: dict[str, Any]) -> None:
    with pytest.raises(TapingRefused) as refused:
        plan_close(plan=plan, why=" ", **by)
    assert refused.value.field == "why"


def test_taped_plan_cannot_be_closed(plan: StripPlan, by: dict[str, Any]) -> None:
    ApplicationFactory(plan=plan, patient=plan.screen.patient)
    with pytest.raises(TapingRefused, match="already recorded this tape"):
        plan_close(plan=plan, why="mistake", **by)


def test_closed_draft_gives_way_to_a_new_one(plan: StripPlan, by: dict[str, Any]) -> None:
    plan_close(plan=plan, why="phone rang", **by)
    assert plan_start(screen=plan.screen, **by) != plan


def test_last_strips_are_cut_anew_for_the_roll(plan: StripPlan, by: dict[str, Any]) -> None:
    roll = TapeRoll.objects.create(name="Blue", pre_stretch=0.0)
    old = StripPlanFactory(screen__patient=plan.screen.patient, goal="ease_muscle", posture="knee bent")
    StripFactory(plan=old, position=1, roll=roll, share=0.5, stretch=0.2)
    last = ApplicationFactory(plan=old, patient=plan.screen.patient, ended_at=by["now"], ended_how="off")
    strips_again(plan=plan, last=last, version=1, **by)
    plan.refresh_from_db()
    row = plan.strips.get()
    # 50 + 50 + 200 / 1.2, on a tape with no stretch on its backing
    assert (row.span_mm, row.share, round(row.paper_mm, 2)) == (300, 0.5, 266.67)
    assert (plan.goal, plan.posture) == ("ease_muscle", "knee bent")


def test_strips_of_another_place_are_not_taken(plan: StripPlan, by: dict[str, Any]) -> None:
    with pytest.raises(TapingRefused, match="another place"):
        strips_again(plan=plan, last=ApplicationFactory(patient=plan.screen.patient, region="elbow"), **by)
    StripFactory(plan=plan, position=1)
    same = ApplicationFactory(patient=plan.screen.patient)
    with pytest.raises(TapingRefused, match="has strips already"):
        strips_again(plan=plan, last=same, **by)


@pytest.mark.parametrize(
    ("paper", "words"),
    [
        # Relaxed anchors and zone: 1.1 * (100 + 200) = 330 mm lie with no stretch, 1.1 * (100 + 200 / 1.4) = 267.1 mm
        # with all of it.
        (331, "Cut at most 33.0 cm for this span."),
        (267, "cut at least 26.8 cm."),
    ],
)
def test_a_piece_that_cannot_be_laid_is_no_strip(plan: StripPlan, by: dict[str, Any], paper: float, words: str) -> None:
    strip = replace(STRIP, cut=cut_of_length(300, paper, ROUGH_TAPE))
    with pytest.raises(TapingRefused) as refused:
        strip_put(**by, plan=plan, strip=strip)
    assert refused.value.message.endswith(words)
    assert refused.value.field == "paper"
    assert plan.strips.count() == 0


@pytest.mark.parametrize("paper", [330, 268])
def test_the_lengths_that_would_work_are_taken(plan: StripPlan, by: dict[str, Any], paper: float) -> None:
    row = strip_put(**by, plan=plan, strip=replace(STRIP, cut=cut_of_length(300, paper, ROUGH_TAPE)))
    assert 0 <= row.share <= 1
