"""The plan's page keeps whatever is typed, speaks the clinic's unit, and draws also what it refuses."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from taping.models import StripPlan, TapeRoll
from tests.factories import ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers
from tests.taping.views.test_plans import HOME, SPAN

SignedIn = Callable[..., tuple[Client, User]]
TYPED = {**SPAN, "posture": "knee bent", "reason": "sore kneecap", "time": "09:58", "removal": "clinic"}


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def plan(db: None) -> StripPlan:
    made: StripPlan = StripPlanFactory(screen=ScreenFactory(answers=answers()))
    return made


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


@pytest.fixture
def inches(clinic: Clinic) -> Clinic:
    clinic.units = Clinic.Units.INCHES
    clinic.save()
    return clinic


def post(client: Client, plan: StripPlan, **given: str) -> Any:
    return client.post(f"/plans/{plan.pk}/", {**SPAN, "version": plan.version, **given})


def cut(client: Client, plan: StripPlan, **given: str) -> str:
    return client.post(f"/plans/{plan.pk}/cut/", {**SPAN, **given}).content.decode()


def test_cautions_and_sums_speak_inches_in_an_inch_clinic(therapist: Client, plan: StripPlan, inches: Clinic) -> None:
    text = cut(therapist, plan, span="5 7/8", anchor_first="2", anchor_last="2")
    assert "Short stretch zone: 1 7/8 in between the anchors, under 3 15/16 in." in text
    assert "Stretch zone: 5.88 - 2 - 2 = 1.88 in between the anchors." in text
    assert " mm" not in text


def test_cautions_and_refusals_speak_centimetres_in_a_centimetre_clinic(therapist: Client, plan: StripPlan) -> None:
    assert "Short stretch zone: 5.0 cm between the anchors, under 10.0 cm." in cut(therapist, plan, span="15")
    assert "leave nothing to stretch of a span of 8.0 cm" in cut(therapist, plan, span="8")
    assert " mm" not in cut(therapist, plan, span="12")


@pytest.mark.parametrize(
    ("span", "words"),
    [
        ("0", "is no length at all"),
        ("4 m", "is in no unit known here (mm, cm, in)"),
        ("twelve", "is not a length"),
        ("12 17/16", "has a fraction that is not below one"),
        ("0/16", "is no length at all"),
        ("400", "longer than any tape on a body"),
    ],
)
def test_impossible_spans_are_refused_beside_the_field_in_inches(
    therapist: Client, plan: StripPlan, inches: Clinic, span: str, words: str
) -> None:
    response = post(therapist, plan, do="add", span=span, posture="knee bent")
    page = response.content.decode()
    assert response.status_code == 422
    assert words in page.partition('<div id="id_span_error">')[2].partition("</div>")[0]
    assert f'value="{span}"' in page
    assert 'value="knee bent"' in page
    assert plan.strips.count() == 0


@pytest.mark.parametrize(("span", "mm"), [("12 3/16", 309.5625), ("11 13/16 in", 300.0375), ("12½", 317.5)])
def test_sixteenths_are_read(therapist: Client, plan: StripPlan, inches: Clinic, span: str, mm: float) -> None:
    assert post(therapist, plan, do="add", span=span, anchor_first="2", anchor_last="2").status_code == 302
    assert plan.strips.get().span_mm == pytest.approx(mm)


def test_span_no_hand_can_measure_is_refused_and_breaks_nothing(therapist: Client, plan: StripPlan) -> None:
    tiny = {"span": "4 mm", "anchor_first": "1 mm", "anchor_last": "1 mm"}
    response = post(therapist, plan, do="add", **tiny)
    assert response.status_code == 422
    assert list(response.context["strip_form"].errors) == ["span"]
    assert "No cut yet." in cut(therapist, plan, **tiny)


def test_refused_strip_is_drawn_all_the_same(therapist: Client, plan: StripPlan) -> None:
    response = post(therapist, plan, do="add", by="paper", paper="25")
    page = response.content.decode()
    assert response.status_code == 422
    assert '<span class="large-number">25.0 cm</span>' in page
    assert "On the table: cut 25.0 cm" in page


def test_another_goal_keeps_what_is_typed_and_brings_its_own_suggestions(therapist: Client, plan: StripPlan) -> None:
    goal = {**TYPED, "goal": "ease_muscle", "version": "1", "tension": "33", "shape": "donut"}
    response = therapist.post(f"/plans/{plan.pk}/goal/", goal, follow=True)
    form, lay = response.context["strip_form"], response.context["lay_form"]
    assert (form["span"].value(), form["tension"].value(), form["shape"].value()) == ("30", "15", "y")
    assert response.context["result"].cut.span_mm == 300
    assert (lay["posture"].value(), lay["time"].value(), lay["removal"].value()) == ("knee bent", "09:58", "clinic")
    once_more = therapist.get(f"/plans/{plan.pk}/")
    assert once_more.context["strip_form"]["span"].value() is None


def test_refused_goal_keeps_what_is_typed(therapist: Client, plan: StripPlan) -> None:
    response = therapist.post(f"/plans/{plan.pk}/goal/", {**TYPED, "goal": "win", "version": "1"}, follow=True)
    assert response.context["strip_form"]["span"].value() == "30"
    assert "Choose what the tape is for." in response.content.decode()


def test_added_strip_keeps_posture_and_what_is_typed_for_the_laying(therapist: Client, plan: StripPlan) -> None:
    response = therapist.post(f"/plans/{plan.pk}/", {**TYPED, "do": "add", "version": "1"}, follow=True)
    plan.refresh_from_db()
    assert (plan.posture, plan.reason) == ("knee bent", "sore kneecap")
    lay = response.context["lay_form"]
    assert (lay["time"].value(), lay["removal"].value()) == ("09:58", "clinic")
    assert response.context["strip_form"]["span"].value() is None


def test_suggested_reason_is_not_stored_as_if_somebody_had_written_it(therapist: Client, plan: StripPlan) -> None:
    post(therapist, plan, do="add", reason="Ease a sore spot", posture="")
    plan.refresh_from_db()
    assert (plan.reason, plan.version) == ("", 2)


def test_showing_the_cut_keeps_the_laying_and_an_unticked_step(therapist: Client, plan: StripPlan) -> None:
    StripFactory(plan=plan, position=1)
    response = therapist.post(
        f"/plans/{plan.pk}/", {**TYPED, "do": "show", "version": "1", "steps_shown": "1", "steps": ["1.cut"]}
    )
    ticks = [tick.name for _, rows in response.context["lay_form"].checklist() for tick in rows if tick.ticked]
    assert ticks == ["1.cut"]
    assert response.context["lay_form"]["removal"].value() == "clinic"


def test_enter_saves_nothing(therapist: Client, plan: StripPlan) -> None:
    page = therapist.get(f"/plans/{plan.pk}/").content.decode()
    form = page.partition('id="plan"')[2]
    assert form.partition("<button")[2].startswith(' class="visually-hidden" name="do" value="show"')
    response = post(therapist, plan)
    assert (response.status_code, plan.strips.count()) == (200, 0)


def test_strip_is_taken_up_again_and_changed(therapist: Client, plan: StripPlan) -> None:
    roll = TapeRoll.objects.create(name="Blue", pre_stretch=0.1)
    post(therapist, plan, do="add", roll=str(roll.pk))
    opened = therapist.post(f"/plans/{plan.pk}/", {"edit": "1", "posture": "sitting"})
    form = opened.context["strip_form"]
    assert (form["span"].value(), form["tension"].value(), form["roll"].value()) == ("30.0 cm", "25", str(roll.pk))
    assert opened.context["lay_form"]["posture"].value() == "sitting"
    assert "Save strip 1" in opened.content.decode()
    saved = post(therapist, plan, do="add", position="1", span="32", version="2")
    assert saved.status_code == 302
    assert [(strip.position, strip.span_mm) for strip in plan.strips.all()] == [(1, 320)]


def test_piece_that_no_round_tension_makes_is_taken_up_as_a_piece(therapist: Client, plan: StripPlan) -> None:
    StripFactory(plan=plan, position=1, paper_mm=290.0)
    form = therapist.post(f"/plans/{plan.pk}/", {"edit": "1"}).context["strip_form"]
    assert (form["by"].value(), form["paper"].value()) == ("paper", "29.0 cm")


def test_strip_that_is_gone_cannot_be_taken_up_or_changed(therapist: Client, plan: StripPlan) -> None:
    gone = therapist.post(f"/plans/{plan.pk}/", {"edit": "7"}, follow=True)
    assert "That strip is no longer in the plan." in gone.content.decode()
    refused = post(therapist, plan, do="add", position="7")
    assert (refused.status_code, plan.strips.count()) == (422, 0)
    assert "Add this one as another strip." in refused.content.decode()


def test_tape_is_named_with_its_numbers_or_as_rough(therapist: Client, plan: StripPlan, now: datetime) -> None:
    measured = TapeRoll.objects.create(name="Blue", lot="7", pre_stretch=0.098, limit=0.415, measured_at=now)
    rough = TapeRoll.objects.create(name="Red")
    assert "Blue, lot 7: 10 % longer on its backing than relaxed, gives 42 %, measured today" in " ".join(
        cut(therapist, plan, roll=str(measured.pk)).split()
    )
    assert "Red: <strong>not measured yet: rough</strong>." in cut(therapist, plan, roll=str(rough.pk))
    page = therapist.get(f"/plans/{plan.pk}/").content.decode()
    assert "Red (not measured yet: rough)" in page


def test_tear_marks_stand_with_the_cut(therapist: Client, plan: StripPlan) -> None:
    assert "Tear the backing 5.5 cm from the first end, 5.5 cm from the last" in cut(therapist, plan)


def test_keys_are_there_for_a_script_and_hidden_without_one(therapist: Client, plan: StripPlan, inches: Clinic) -> None:
    page = therapist.get(f"/plans/{plan.pk}/").content.decode()
    assert '<div class="keypad" id="keypad" hidden' in page
    assert 'data-key="/"' in page
    assert 'type="button" class="btn btn-quiet key" data-key="7"' in page


def test_rolls_are_a_step_away_for_those_who_keep_them(signed_in: SignedIn, plan: StripPlan) -> None:
    assert 'href="/rolls/"' in signed_in()[0].get(f"/plans/{plan.pk}/").content.decode()


def test_students_are_not_led_to_the_rolls(signed_in: SignedIn, plan: StripPlan) -> None:
    assert 'href="/rolls/"' not in signed_in("student")[0].get(f"/plans/{plan.pk}/").content.decode()


def test_words_are_saved_with_the_draft(therapist: Client, plan: StripPlan) -> None:
    words = {"posture": " lying ", "reason": "knee", "version": "1"}
    therapist.post(f"/plans/{plan.pk}/words/", words)
    plan.refresh_from_db()
    assert (plan.posture, plan.reason, plan.version) == ("lying", "knee", 2)


def test_words_that_cannot_be_kept_are_not_lost(therapist: Client, plan: StripPlan) -> None:
    long = "x" * 201
    response = therapist.post(f"/plans/{plan.pk}/words/", {"posture": long, "version": "1"}, follow=True)
    assert response.context["lay_form"]["posture"].value() == long
    plan.refresh_from_db()
    assert plan.posture == ""


def test_older_version_is_refused_and_both_texts_are_shown_with_who_and_when(
    therapist: Client, plan: StripPlan, signed_in: SignedIn
) -> None:
    therapist.post(f"/plans/{plan.pk}/words/", {"posture": "knee bent", "reason": "stairs", "version": "1"})
    plan.refresh_from_db()
    response = therapist.post(f"/plans/{plan.pk}/words/", {"posture": "sitting", "reason": "stairs", "version": "1"})
    page = response.content.decode()
    assert response.status_code == 422
    assert plan.saved_by is not None
    assert f"<bdi>{plan.saved_by.full_name}</bdi> saved this plan at 10:00" in page
    assert [(row.label, row.stored, row.typed) for row in response.context["differing"]] == [
        ("Posture while measuring and taping", "knee bent", "sitting")
    ]
    assert response.context["lay_form"]["posture"].value() == "sitting"
    plan.refresh_from_db()
    assert plan.posture == "knee bent"
    assert f'name="version" value="{plan.version}"' in page


def test_laying_from_an_older_version_shows_both_texts(therapist: Client, plan: StripPlan) -> None:
    StripFactory(plan=plan, position=1)
    therapist.post(f"/plans/{plan.pk}/words/", {"posture": "knee bent", "version": "1"})
    response = therapist.post(f"/plans/{plan.pk}/on-the-skin/", {**HOME, "posture": "sitting", "version": "1"})
    assert response.status_code == 422
    assert [(row.stored, row.typed) for row in response.context["differing"]] == [("knee bent", "sitting")]
    assert response.context["lay_form"]["posture"].value() == "sitting"


def test_not_taped_without_a_reason_keeps_what_is_typed(therapist: Client, plan: StripPlan) -> None:
    response = therapist.post(f"/plans/{plan.pk}/close/", {**TYPED, "why": " "})
    page = response.content.decode()
    assert response.status_code == 422
    assert "Say why this patient is not taped." in page.partition('id="id_why_error"')[2].partition("</div>")[0]
    assert response.context["strip_form"]["span"].value() == "30"
    assert response.context["lay_form"]["posture"].value() == "knee bent"


@pytest.mark.parametrize("strips", [0, 1])
def test_redraw_asks_the_database_little(
    therapist: Client, plan: StripPlan, strips: int, django_assert_num_queries: Any
) -> None:
    for position in range(strips):
        StripFactory(plan=plan, position=position + 1)
    cut(therapist, plan)
    with django_assert_num_queries(6):
        cut(therapist, plan)


def test_cut_of_no_plan_is_not_found(therapist: Client, plan: StripPlan) -> None:
    assert therapist.post("/plans/999/cut/", SPAN).status_code == 404
