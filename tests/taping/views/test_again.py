"""Again as last time: after a new screen, one tap takes the plan of that place, marked with its day."""

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from taping.models import Application, SkinScreen, StripPlan, TapeRoll
from tests.factories import ApplicationFactory, PatientFactory, ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers
from tests.taping.views.test_plans import HOME

TAKEN = "Use this plan"


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def therapist(signed_in: Callable[..., tuple[Client, User]]) -> Client:
    return signed_in()[0]


@pytest.fixture
def roll(db: None) -> TapeRoll:
    return TapeRoll.objects.create(name="Blue", lot="7", measured_at=None)


@pytest.fixture
def last(roll: TapeRoll, now: datetime) -> Application:
    """Nine days ago: the left knee, sitting, one I strip of the roll."""
    begun = now - timedelta(days=9)
    patient = PatientFactory(full_name="Ada Quill")
    screen = ScreenFactory(patient=patient, made_at=begun, answers=answers(diabetes="yes"))
    plan = StripPlanFactory(screen=screen, goal="ease_muscle", posture="knee bent", reason="stairs")
    # 1.1 x (100 + 200 / 1.2) = 293.3 mm make half of what this tape gives.
    StripFactory(plan=plan, position=1, roll=roll, share=0.5, stretch=0.2, paper_mm=1.1 * (100 + 200 / 1.2))
    made: Application = ApplicationFactory(
        plan=plan, patient=patient, applied_at=begun, ended_at=now - timedelta(days=4), ended_how="off"
    )
    return made


@pytest.fixture
def screen(last: Application, now: datetime) -> SkinScreen:
    made: SkinScreen = ScreenFactory(patient=last.patient, answers=answers(), made_at=now)
    return made


def test_place_taped_before_is_offered_where_the_place_is_asked(
    therapist: Client, last: Application, django_assert_max_num_queries: Any, now: datetime
) -> None:
    address = f"/patients/{last.patient_id}/screen/"
    offer = f'href="{address}?region=knee&amp;side=left&amp;goal=ease_muscle">Left knee, to ease a tense muscle</a>'
    page = therapist.get(address).content.decode()
    assert page.count(offer) == 1
    for days in range(30):
        at = now - timedelta(days=20 + days)
        before = StripPlanFactory(screen=ScreenFactory(patient=last.patient, side="right", made_at=at))
        ApplicationFactory(
            plan=before, patient=last.patient, applied_at=at, ended_at=at + timedelta(days=4), ended_how="off"
        )
    with django_assert_max_num_queries(15):
        page = therapist.get(address).content.decode()
    assert (page.count(offer), page.count("Right knee, to ")) == (1, 1)
    assert page.index("Left knee, to ") < page.index("Right knee, to ")


def test_place_that_bears_tape_is_not_offered_again(therapist: Client, last: Application, now: datetime) -> None:
    Application.objects.filter(pk=last.pk).update(ended_at=None, ended_how="")
    assert "Again as last time" not in therapist.get(f"/patients/{last.patient_id}/screen/").content.decode()


def test_whole_way_takes_one_tap_a_page(therapist: Client, last: Application) -> None:
    patient = therapist.get(f"/patients/{last.patient_id}/").content.decode()
    begin = f"/patients/{last.patient_id}/screen/?region=knee&amp;side=left&amp;goal=ease_muscle"
    assert begin in patient
    asked: Any = therapist.post(begin.replace("&amp;", "&"), {**answers(), "goal": "ease_muscle"})
    screened = therapist.get(asked["Location"]).content.decode()
    assert TAKEN in screened
    used: Any = therapist.post(f"{asked['Location']}plan/again/")
    page = therapist.get(used["Location"])
    assert "As on Mon 1 Mar" in page.content.decode()
    assert "It is on the skin now" in page.content.decode()
    plan = page.context["plan"]
    steps = [name for laying in page.context["lay_form"].asked.layings for name, _ in laying.named()]
    form = {**HOME, "version": plan.version, "steps_shown": "1", "steps": steps, "posture": plan.posture}
    laid: Any = therapist.post(f"/plans/{plan.pk}/on-the-skin/", form)
    tape = Application.objects.latest("id")
    assert laid["Location"] == f"/applications/{tape.pk}/"
    assert (tape.plan.goal, tape.plan.posture, tape.plan.reason) == ("ease_muscle", "knee bent", "stairs")


def test_answers_are_never_copied(therapist: Client, last: Application) -> None:
    page = therapist.get(f"/patients/{last.patient_id}/screen/?region=knee&side=left&goal=ease_muscle")
    form = page.context["form"]
    assert [name for name in last.plan.screen.answers if form[name].value()] == []


def test_goal_strips_spans_posture_and_roll_are_filled_in_and_marked(
    therapist: Client, screen: SkinScreen, roll: TapeRoll
) -> None:
    therapist.post(f"/screens/{screen.pk}/plan/again/")
    plan = screen.plans.get()
    strip = plan.strips.get()
    assert (plan.goal, plan.posture, plan.reason) == ("ease_muscle", "knee bent", "stairs")
    assert (strip.span_mm, strip.share, strip.roll, strip.as_on) == (300, 0.5, roll, date(2027, 3, 1))


def test_two_taps_fill_it_in_once(therapist: Client, screen: SkinScreen) -> None:
    first: Any = therapist.post(f"/screens/{screen.pk}/plan/again/")
    second: Any = therapist.post(f"/screens/{screen.pk}/plan/again/")
    assert first["Location"] == second["Location"]
    assert screen.plans.get().strips.count() == 1


def test_measured_again_it_is_no_longer_marked(therapist: Client, screen: SkinScreen) -> None:
    therapist.post(f"/screens/{screen.pk}/plan/again/")
    plan = screen.plans.get()
    opened = therapist.post(f"/plans/{plan.pk}/", {"edit": "1"}).context["strip_form"]
    form = {name: opened[name].value() or "" for name in opened.fields}
    del form["off_paper"]
    therapist.post(f"/plans/{plan.pk}/", {**form, "span": "31", "do": "add", "position": "1", "version": plan.version})
    assert [(strip.span_mm, strip.as_on) for strip in plan.strips.all()] == [(310, None)]
    assert "As on" not in therapist.get(f"/plans/{plan.pk}/").content.decode()


def test_nothing_changed_is_not_told_as_a_difference(therapist: Client, screen: SkinScreen) -> None:
    page = therapist.get(f"/screens/{screen.pk}/").content.decode()
    assert "as on Mon 1 Mar" in page
    assert "Not as it was" not in page


def test_roll_measured_since_is_told_before_the_tap(therapist: Client, screen: SkinScreen, roll: TapeRoll) -> None:
    TapeRoll.objects.filter(pk=roll.pk).update(pre_stretch=0.05)
    page = therapist.get(f"/screens/{screen.pk}/").content.decode()
    # 1.05 x (100 + 200 / 1.2) = 280 mm
    assert "Strip 1: cut 28.0 cm now, 29.3 cm last time" in page
    therapist.post(f"/screens/{screen.pk}/plan/again/")
    assert screen.plans.get().strips.get().paper_mm == pytest.approx(280)


def test_roll_put_away_gives_way_to_one_in_use(therapist: Client, screen: SkinScreen, roll: TapeRoll) -> None:
    TapeRoll.objects.filter(pk=roll.pk).update(in_use=False)
    red = TapeRoll.objects.create(name="Red")
    assert "Blue, lot 7 is put away; reckoned with Red now." in therapist.get(f"/screens/{screen.pk}/").content.decode()
    therapist.post(f"/screens/{screen.pk}/plan/again/")
    assert screen.plans.get().strips.get().roll == red


def test_rule_changed_since_is_told(therapist: Client, screen: SkinScreen, clinic: Clinic) -> None:
    clinic.adhesion_minutes = 30
    clinic.save()
    page = therapist.get(f"/screens/{screen.pk}/").content.decode()
    assert "Wait before easy movement: 30 minutes now, 20 last time." in page


def test_plan_begun_by_hand_offers_it_too(therapist: Client, screen: SkinScreen) -> None:
    begun: Any = therapist.post(f"/screens/{screen.pk}/plan/")
    assert TAKEN in therapist.get(begun["Location"]).content.decode()


@pytest.mark.parametrize("outcome", ["do_not_tape", "prepare_first"])
def test_screen_that_permits_no_tape_offers_nothing(therapist: Client, screen: SkinScreen, outcome: str) -> None:
    screen.outcome = outcome
    screen.save()
    assert TAKEN not in therapist.get(f"/screens/{screen.pk}/").content.decode()
    refused: Any = therapist.post(f"/screens/{screen.pk}/plan/again/")
    assert refused["Location"] == f"/screens/{screen.pk}/"
    assert screen.plans.count() == 0


def test_goal_whose_stops_were_not_asked_is_refused_and_no_plan_is_left(
    therapist: Client, screen: SkinScreen, last: Application
) -> None:
    StripPlan.objects.filter(pk=last.plan_id).update(goal="move_swelling")
    screen.answers = answers(heart_failure="yes")
    screen.save()
    page = therapist.post(f"/screens/{screen.pk}/plan/again/", follow=True).content.decode()
    assert "Screen the skin again for this goal." in page
    assert screen.plans.count() == 0


@pytest.mark.parametrize("place", [{"region": "elbow"}, {"side": "right"}])
def test_another_place_is_not_offered(
    therapist: Client, last: Application, now: datetime, place: dict[str, str]
) -> None:
    other = ScreenFactory(patient=last.patient, answers=answers(), made_at=now, **place)
    assert TAKEN not in therapist.get(f"/screens/{other.pk}/").content.decode()
    assert therapist.post(f"/screens/{other.pk}/plan/again/").status_code == 404


def test_strip_that_cannot_be_cut_so_any_more_says_why(
    therapist: Client, screen: SkinScreen, last: Application
) -> None:
    last.plan.strips.update(anchor_first_mm=200, anchor_last_mm=200)
    page = therapist.get(f"/screens/{screen.pk}/").content.decode()
    assert "leave nothing to stretch of a span of 30.0 cm" in page
    assert TAKEN not in page
    refused = therapist.post(f"/screens/{screen.pk}/plan/again/", follow=True)
    assert "cannot be cut so again" in refused.content.decode()
    assert screen.plans.count() == 0


def test_pages_ask_the_database_little(
    therapist: Client, screen: SkinScreen, last: Application, django_assert_max_num_queries: Any
) -> None:
    for position in range(2, 12):
        StripFactory(plan=last.plan, position=position, roll=TapeRoll.objects.get(), share=0.2)
    with django_assert_max_num_queries(15):
        therapist.get(f"/screens/{screen.pk}/")
