"""The steps of laying are the list to go by and the record: one tap for all, a reason for each that was left out."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import User
from taping.models import Application, StripPlan
from taping.rules.shape_kinds import ShapeKind
from taping.rules.technique import Start, steps_for
from tests.factories import ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers
from tests.taping.views.test_plans import HOME

STEPS = [step.key for step in steps_for(Start.ONE_END, ShapeKind.I)]
ALL = [f"1.{key}" for key in STEPS]


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def therapist(signed_in: Callable[..., tuple[Client, User]]) -> Client:
    return signed_in()[0]


@pytest.fixture
def plan(db: None) -> StripPlan:
    made: StripPlan = StripPlanFactory(screen=ScreenFactory(answers=answers()))
    StripFactory(plan=made, position=1)
    StripFactory(plan=made, position=2)
    return made


def lay(client: Client, plan: StripPlan, **given: Any) -> Any:
    form = {**HOME, "version": plan.version, "steps_shown": "1", **given}
    return client.post(f"/plans/{plan.pk}/on-the-skin/", form)


def test_every_step_is_visible_in_order_and_ticked_beforehand(therapist: Client, plan: StripPlan) -> None:
    page = therapist.get(f"/plans/{plan.pk}/")
    shown = [(tick.name, tick.ticked) for _, ticks in page.context["lay_form"].checklist() for tick in ticks]
    assert shown == [(name, True) for name in ALL]
    assert page.content.decode().count('name="steps" value="') == len(ALL)


def test_one_tap_records_every_step_as_done(therapist: Client, plan: StripPlan) -> None:
    assert lay(therapist, plan, steps=ALL).status_code == 302
    tape = Application.objects.get()
    assert tape.laid_steps == [{"strips": [1, 2], "done": STEPS, "left_out": []}]
    assert tape.left_out_why == ""


def test_step_left_out_needs_its_reason_and_nothing_is_lost(therapist: Client, plan: StripPlan) -> None:
    done = [name for name in ALL if name != "1.rub"]
    response = lay(therapist, plan, steps=done, reason="kept words")
    form = response.context["lay_form"]
    assert (response.status_code, list(form.errors)) == (422, ["left_out_why"])
    assert [tick.name for _, ticks in form.checklist() for tick in ticks if not tick.ticked] == ["1.rub"]
    assert form["reason"].value() == "kept words"
    assert lay(therapist, plan, steps=done, left_out_why="skin too sore to rub").status_code == 302
    tape = Application.objects.get()
    assert (tape.laid_steps[0]["left_out"], tape.left_out_why) == (["rub"], "skin too sore to rub")


def test_nothing_ticked_is_everything_left_out(therapist: Client, plan: StripPlan) -> None:
    assert list(lay(therapist, plan).context["lay_form"].errors) == ["left_out_why"]
    lay(therapist, plan, left_out_why="put on by the doctor")
    assert Application.objects.get().laid_steps == [{"strips": [1, 2], "done": [], "left_out": STEPS}]


def test_list_that_was_not_shown_says_nothing(therapist: Client, plan: StripPlan) -> None:
    therapist.post(f"/plans/{plan.pk}/on-the-skin/", {**HOME, "version": plan.version})
    assert Application.objects.get().laid_steps == []


def test_step_that_is_none_is_refused(therapist: Client, plan: StripPlan) -> None:
    assert list(lay(therapist, plan, steps=[*ALL, "1.sing"]).context["lay_form"].errors) == ["steps"]


def test_record_is_on_the_tapes_page_for_those_who_tape(
    therapist: Client, plan: StripPlan, signed_in: Callable[..., tuple[Client, User]]
) -> None:
    lay(therapist, plan, steps=ALL[1:], left_out_why="measured <b>before</b>")
    address = f"/applications/{Application.objects.get().pk}/"
    page = therapist.get(address).content.decode()
    assert f"{len(ALL) - 1} of {len(ALL)} steps of laying done" in page
    assert "measured &lt;b&gt;before&lt;/b&gt;" in page
    assert "measure the span along the path of the tape" in page
    desk = signed_in("desk")[0].get(address).content.decode()
    assert "steps of laying" not in desk
    assert "measured &lt;b&gt;" not in desk
