"""The strips in the browser: the cut, the plan, and the tape that is on the skin once."""

import re
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Event, User
from taping.models import Application, Strip, StripPlan, TapeRoll
from taping.rules.removal import REMOVAL_QUESTIONS
from tests.factories import (
    ApplicationFactory,
    HelperFactory,
    ScreenFactory,
    StripFactory,
    StripPlanFactory,
    UserFactory,
)
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]
SPAN = {
    "span": "30",
    "by": "tension",
    "tension": "25",
    "shape": "i",
    "start": "one_end",
    "direction": "none",
    "anchor_first": "5",
    "anchor_last": "5",
}
HOME = {"removal": "home", **{question.key: "no" for question in REMOVAL_QUESTIONS}}


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def plan(db: None) -> StripPlan:
    made: StripPlan = StripPlanFactory(screen=ScreenFactory(answers=answers()))
    return made


@pytest.fixture
def laid(plan: StripPlan) -> StripPlan:
    """A plan with its strip, ready to be laid."""
    StripFactory(plan=plan, position=1)
    return plan


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


def add(client: Client, plan: StripPlan, do: str = "add", **given: str) -> Any:
    return client.post(f"/plans/{plan.pk}/", {**SPAN, "do": do, "version": plan.version, **given})


def lay(client: Client, plan: StripPlan, **given: Any) -> Any:
    return client.post(f"/plans/{plan.pk}/on-the-skin/", {**HOME, "version": plan.version, **given})


@pytest.mark.parametrize("role", ["desk", "manager"])
def test_only_who_tapes_may_see_or_change_it(signed_in: SignedIn, laid: StripPlan, role: str) -> None:
    client, _ = signed_in(role)
    laid.reason = "very private words"
    laid.save()
    page = client.get(f"/plans/{laid.pk}/")
    assert (page.status_code, b"very private words" in page.content) == (403, False)
    for address in ("", "cut/", "goal/", "again/", "strips/1/remove/", "on-the-skin/", "close/"):
        assert client.post(f"/plans/{laid.pk}/{address}").status_code == 403


def test_reading_it_is_an_event(therapist: Client, plan: StripPlan) -> None:
    therapist.get(f"/plans/{plan.pk}/")
    assert Event.objects.filter(verb="patient.read", patient=plan.screen.patient).count() == 1


def test_empty_plan_says_what_to_do(therapist: Client, plan: StripPlan) -> None:
    page = therapist.get(f"/plans/{plan.pk}/").content.decode()
    assert "Write the span to see how long to cut." in page
    assert "It is on the skin now" not in page
    assert "Again as last time" not in page


def test_goal_brings_its_technique_with_reasons_and_what_is_known(therapist: Client, plan: StripPlan) -> None:
    page = therapist.get(f"/plans/{plan.pk}/").content.decode()
    assert "Taught: I strip or X strip or web or donut, the middle first, 10 % to 35 %" in page
    assert "Trials show at most small and short relief of pain" in page
    assert 'value="10"' in page


def test_other_goal_is_saved(therapist: Client, plan: StripPlan) -> None:
    response = therapist.post(f"/plans/{plan.pk}/goal/", {"goal": "ease_muscle", "version": 1})
    assert response["Location"] == f"/plans/{plan.pk}/"
    plan.refresh_from_db()
    assert plan.goal == "ease_muscle"
    bad = therapist.post(f"/plans/{plan.pk}/goal/", {"goal": "win", "version": 2}, follow=True)
    assert "Choose what the tape is for." in bad.content.decode()


def test_cut_is_shown_large_with_squares_and_a_range(therapist: Client, plan: StripPlan) -> None:
    page = add(therapist, plan, do="show")
    text = page.content.decode()
    assert page.status_code == 200
    # 50 + 50 + 200 / 1.1 relaxed, times 1.1 on the backing: 310 mm
    assert '<span class="large-number">31.0 cm</span>' in text
    assert "6.2 squares" in text
    assert "Tension <strong>18 to 32 %</strong>" in text
    assert "The numbers are rough" in text
    assert Strip.objects.count() == 0


def test_eighty_percent_cut_is_compared(therapist: Client, plan: StripPlan) -> None:
    text = add(therapist, plan, do="show").content.decode()
    assert "is 25.0 cm (5 squares)" in text
    assert "Beyond the tape: this piece would need 142.9 %" in text


def test_measured_roll_is_not_called_rough(therapist: Client, plan: StripPlan, now: datetime) -> None:
    roll = TapeRoll.objects.create(name="Blue", pre_stretch=0.0, measured_at=now)
    text = add(therapist, plan, do="show", roll=str(roll.pk)).content.decode()
    assert "The numbers are rough" not in text
    assert '<span class="large-number">28.2 cm</span>' in text  # 50 + 50 + 200 / 1.1


def test_piece_already_cut_tells_its_tension(therapist: Client, plan: StripPlan) -> None:
    text = add(therapist, plan, do="show", by="paper", paper="28.6 cm", tension="").content.decode()
    assert "Tension <strong>54 to 71 %</strong>" in text


def test_fragment_has_the_same_numbers_and_no_page_around_it(therapist: Client, plan: StripPlan) -> None:
    response = therapist.post(f"/plans/{plan.pk}/cut/", SPAN)
    text = response.content.decode()
    assert (response.status_code, "<html" in text) == (200, False)
    assert '<span class="large-number">31.0 cm</span>' in text
    assert 'id="cut-more" hx-swap-oob="true"' in text
    assert 'role="img"' in text


def test_fragment_says_what_is_wrong(therapist: Client, plan: StripPlan) -> None:
    text = therapist.post(f"/plans/{plan.pk}/cut/", {**SPAN, "span": "8"}).content.decode()
    assert "No cut yet." in text
    assert "leave nothing to stretch of a span of 8.0 cm" in text
    assert "Write the span" in therapist.post(f"/plans/{plan.pk}/cut/", {}).content.decode()


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"span": "0"}, "span", "is no length at all"),
        ({"span": "4 m"}, "span", "is in no unit known here"),
        ({"span": "400"}, "span", "longer than any tape on a body"),
        ({"span": "twelve"}, "span", "is not a length"),
        ({"span": ""}, "span", "Measure the span"),
        ({"span": "9"}, "span", "leave nothing to stretch"),
        ({"tension": "120"}, "tension", "Give a tension from 0 to 100 %"),
        ({"tension": ""}, "tension", "Give the tension wanted."),
        ({"by": "paper", "paper": ""}, "paper", "Measure the piece"),
        ({"by": "paper", "paper": "9"}, "paper", "is not longer than its anchors"),
        ({"shape": "fan", "tails": "20"}, "tails", "from 1 to 8"),
        ({"shape": "y", "tails": "3"}, "tails", "is not a number of tails it can have"),
        ({"anchor_first": ""}, "anchor_first", "An anchor has a length."),
        ({"shape": "star"}, "shape", "Select a valid choice"),
    ],
)
def test_bad_input_stands_beside_its_field_and_nothing_is_lost(
    therapist: Client, plan: StripPlan, given: dict[str, str], field: str, words: str
) -> None:
    response = add(therapist, plan, **given)
    form = response.context["strip_form"]
    assert response.status_code == 422
    assert [field] == list(form.errors)
    assert words in str(form.errors[field])
    assert {name: form[name].value() for name in SPAN} == {**SPAN, **{k: v for k, v in given.items() if k in SPAN}}
    assert Strip.objects.count() == 0


def test_strip_is_added_once(therapist: Client, plan: StripPlan) -> None:
    key = "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11"
    first, second = add(therapist, plan, once=key), add(therapist, plan, once=key)
    assert first["Location"] == second["Location"] == f"/plans/{plan.pk}/#strips"
    strip = Strip.objects.get()
    assert (strip.span_mm, strip.share, round(strip.paper_mm)) == (300, 0.25, 310)


def test_other_tablets_strip_is_shown_and_nothing_typed_is_lost(therapist: Client, plan: StripPlan) -> None:
    add(therapist, plan)
    response = add(therapist, plan, span="41")
    text = response.content.decode()
    assert response.status_code == 422
    assert "changed this plan at 10:00" in text
    assert 'value="41"' in text
    assert 'name="version" value="2"' in text
    assert Strip.objects.count() == 1


def test_strip_is_taken_out(therapist: Client, laid: StripPlan) -> None:
    therapist.post(f"/plans/{laid.pk}/strips/1/remove/", {"version": 1})
    assert laid.strips.count() == 0


def test_cautions_stand_at_the_strip(therapist: Client, laid: StripPlan) -> None:
    laid.screen.answers = answers(child="yes")
    laid.screen.save()
    page = therapist.get(f"/plans/{laid.pk}/").content.decode()
    assert "More than paper-off tension, for a child" in page
    assert "Take it off after 1 to 3 days: a child wears it" in page


def test_again_as_last_time_takes_the_strips_only(therapist: Client, plan: StripPlan, now: datetime) -> None:
    old = StripPlanFactory(screen=ScreenFactory(patient=plan.screen.patient))
    StripFactory(plan=old, position=1)
    ApplicationFactory(
        plan=old, patient=plan.screen.patient, applied_at=now - timedelta(days=9), ended_at=now, ended_how="off"
    )
    assert "as on Mon 1 Mar" in therapist.get(f"/plans/{plan.pk}/").content.decode()
    therapist.post(f"/plans/{plan.pk}/again/", {"version": 1})
    assert [(strip.span_mm, strip.share) for strip in plan.strips.all()] == [(300, 0.625)]


def test_again_without_a_last_time_is_not_found(therapist: Client, plan: StripPlan) -> None:
    assert therapist.post(f"/plans/{plan.pk}/again/").status_code == 404


def test_steps_are_in_order_and_one_way_of_laying_is_told_once(therapist: Client, laid: StripPlan) -> None:
    StripFactory(plan=laid, position=2)
    StripFactory(plan=laid, position=3, start="centre", direction="none")
    layings = therapist.get(f"/plans/{laid.pk}/").context["lay_form"].asked.layings
    assert [(one.positions, one.steps[0].key, one.steps[-1].key) for one in layings] == [
        ([1, 2], "measure", "check"),
        ([3], "measure", "check"),
    ]


def test_on_the_skin_now(therapist: Client, laid: StripPlan, now: datetime) -> None:
    response = lay(therapist, laid, posture="knee bent", reason="sore kneecap")
    tape = Application.objects.get()
    assert response["Location"] == f"/applications/{tape.pk}/"
    assert (tape.applied_at, tape.removal, tape.closes_on) == (now, "home", date(2027, 3, 15))
    assert (tape.plan.posture, tape.plan.reason) == ("knee bent", "sore kneecap")
    assert tape.removal_answers["cannot_see"] == "no"


def test_two_taps_make_one_tape(therapist: Client, laid: StripPlan) -> None:
    key = "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11"
    first, second = lay(therapist, laid, once=key), lay(therapist, laid, once=key)
    assert first["Location"] == second["Location"]
    assert Application.objects.count() == 1


def test_second_therapist_is_told_who_was_first(therapist: Client, laid: StripPlan) -> None:
    lay(therapist, laid)
    tape = Application.objects.get()
    response = lay(therapist, laid)
    assert response["Location"] == f"/applications/{tape.pk}/"
    words = [str(message) for message in response.wsgi_request._messages]
    assert words == [
        "The tape is on record.",
        f"{tape.therapist.full_name} already recorded this tape as on the skin at 10:00.",
    ]


def test_time_is_corrected_with_a_reason(therapist: Client, laid: StripPlan, now: datetime) -> None:
    laid.screen.made_at = now - timedelta(hours=2)
    laid.screen.save()
    response = lay(therapist, laid, time="09:10")
    assert response.status_code == 422
    assert "Say why it is recorded now." in str(response.context["lay_form"].errors["late_reason"])
    lay(therapist, laid, time="09:10", late_reason="beside the pitch")
    assert Application.objects.get().applied_at == now - timedelta(minutes=50)


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"time": "10:01"}, "time", "still to come"),
        ({"time": "noon"}, "time", "Write the time like 14:05."),
        ({"time": "09:58"}, "time", "The screen was made after the tape went on."),
        ({"removal": "home", "cannot_see": "yes"}, "removal", "the patient cannot see the tape"),
        ({"removal": "home", "poor_hands": ""}, "poor_hands", "Answer this before it comes off at home"),
        ({"removal": "helper"}, "helper", "Choose the helper"),
        ({"last_day": "2"}, "shorten_why", "Say why it comes off sooner."),
        ({"last_day": "9"}, "last_day", "Select a valid choice"),
    ],
)
def test_bad_handing_over_is_refused_beside_its_field(
    therapist: Client, laid: StripPlan, given: dict[str, str], field: str, words: str
) -> None:
    response = lay(therapist, laid, reason="kept words", **given)
    form = response.context["lay_form"]
    assert response.status_code == 422
    assert list(form.errors) == [field]
    assert words in str(form.errors[field])
    assert form["reason"].value() == "kept words"
    assert Application.objects.count() == 0


def test_typed_minute_of_the_screen_counts_as_after_it(therapist: Client, laid: StripPlan, now: datetime) -> None:
    laid.screen.made_at = now - timedelta(minutes=1, seconds=20)
    laid.screen.save()
    lay(therapist, laid, time="09:58")
    assert Application.objects.get().applied_at == laid.screen.made_at


def test_helper_takes_it_off(therapist: Client, laid: StripPlan) -> None:
    helper = HelperFactory(patient=laid.screen.patient)
    lay(therapist, laid, removal="helper", helper=str(helper.pk), cannot_see="yes")
    tape = Application.objects.get()
    assert (tape.removal, tape.helper) == ("helper", helper)


def test_window_is_shortened(therapist: Client, laid: StripPlan) -> None:
    lay(therapist, laid, last_day="2", shorten_why="thin skin")
    assert Application.objects.get().closes_on == date(2027, 3, 12)


@pytest.mark.parametrize(
    ("found", "outcome"),
    [
        ({"child": "yes"}, "clear_with_care"),
        ({"diabetes": "yes"}, "clear_with_care"),
        ({"child": "not_known"}, "clear"),
    ],
)
def test_last_day_is_asked_where_a_shorter_wear_is_proposed(
    therapist: Client, laid: StripPlan, found: dict[str, str], outcome: str
) -> None:
    laid.screen.answers, laid.screen.outcome = answers(**found), outcome
    laid.screen.save()
    page = therapist.get(f"/plans/{laid.pk}/").content.decode()
    days = re.findall(r'<input type="radio" name="last_day" value="(\w+)"([^>]*)>', page)
    assert [day for day, _ in days] == ["1", "2", "3", "4", "usual"]
    assert [day for day, more in days if "checked" in more] == []
    refused = lay(therapist, laid, removal="clinic")
    assert list(refused.context["lay_form"].errors) == ["last_day"]
    assert Application.objects.count() == 0


@pytest.mark.parametrize(
    ("chosen", "closes_on"),
    [({"last_day": "2", "shorten_why": "a child"}, date(2027, 3, 12)), ({"last_day": "usual"}, date(2027, 3, 15))],
)
def test_last_day_that_was_chosen_is_recorded(
    therapist: Client, laid: StripPlan, chosen: dict[str, str], closes_on: date
) -> None:
    laid.screen.answers, laid.screen.outcome = answers(child="yes"), "clear_with_care"
    laid.screen.save()
    lay(therapist, laid, removal="clinic", **chosen)
    assert Application.objects.get().closes_on == closes_on


def test_student_needs_a_supervisor(signed_in: SignedIn, laid: StripPlan) -> None:
    client, student = signed_in("student")
    supervisor = UserFactory(full_name="Super Visor")
    refused = lay(client, laid)
    assert list(refused.context["lay_form"].errors) == ["supervisor"]
    lay(client, laid, supervisor=str(supervisor.pk))
    tape = Application.objects.get()
    assert (tape.therapist, tape.supervisor, tape.countersigned_at) == (student, supervisor, None)


def test_place_that_wears_tape_refuses(therapist: Client, laid: StripPlan) -> None:
    ApplicationFactory(patient=laid.screen.patient)
    response = lay(therapist, laid)
    assert response.status_code == 422
    assert "There is tape on this place already. Record its end first" in response.content.decode()


def test_taped_plan_leads_to_its_tape(therapist: Client, laid: StripPlan) -> None:
    lay(therapist, laid)
    tape = Application.objects.get()
    assert therapist.get(f"/plans/{laid.pk}/")["Location"] == f"/applications/{tape.pk}/"


def test_not_taped_puts_the_plan_away(therapist: Client, plan: StripPlan) -> None:
    refused = therapist.post(f"/plans/{plan.pk}/close/", {"why": ""})
    assert (refused.status_code, refused.context["close_error"]) == (422, "Say why this patient is not taped.")
    closed = therapist.post(f"/plans/{plan.pk}/close/", {"why": "no time"})
    assert closed["Location"] == f"/patients/{plan.screen.patient_id}/"
    assert therapist.get(f"/plans/{plan.pk}/")["Location"] == f"/patients/{plan.screen.patient_id}/"


def test_inches_where_the_clinic_works_in_them(therapist: Client, plan: StripPlan, clinic: Any) -> None:
    clinic.units = "in"
    clinic.save()
    text = add(therapist, plan, do="show", span="12", anchor_first="2", anchor_last="2").content.decode()
    assert '<span class="large-number">12 3/8 in</span>' in text  # 4.4 + 8 x 1.1 / 1.1 = 12.4


@pytest.mark.parametrize("address", ["/plans/999/", "/applications/999/end/"])
def test_unknown_rows_are_not_found(therapist: Client, address: str) -> None:
    assert therapist.get(address).status_code == 404


def test_queries_do_not_grow(
    therapist: Client, plan: StripPlan, now: datetime, django_assert_max_num_queries: Any
) -> None:
    counts = []
    for rows in (1, 19):
        for position in range(1, rows + 1):
            StripFactory(plan=plan, position=position + 100 * rows, roll=TapeRoll.objects.create(name="Blue"))
            HelperFactory(patient=plan.screen.patient)
        with django_assert_max_num_queries(15) as counted:
            therapist.get(f"/plans/{plan.pk}/")
        counts.append(len(counted))
    assert counts[0] == counts[1]


def test_live_refusal_names_the_field_it_is_about(therapist: Client, plan: StripPlan) -> None:
    """The anchors stand folded away: "'0' is no length" alone would be looked for at the span."""
    text = therapist.post(f"/plans/{plan.pk}/cut/", {**SPAN, "anchor_last": "0"}).content.decode()
    assert "Last anchor: &#x27;0&#x27; is no length at all" in text


@pytest.mark.parametrize(
    ("paper", "said"),
    [
        ("50 cm", "Tension <strong>loose</strong></p>"),
        ("28 cm", "of what this tape can give: "),
    ],
)
def test_loose_tape_is_loose_and_not_loose_of_what_it_can_give(
    therapist: Client, plan: StripPlan, paper: str, said: str
) -> None:
    text = therapist.post(f"/plans/{plan.pk}/cut/", {**SPAN, "by": "paper", "paper": paper}).content.decode()
    assert said in text


def test_who_takes_it_off_may_be_left_to_handing_over(signed_in: SignedIn, plan: StripPlan) -> None:
    client, _ = signed_in()
    StripFactory(plan=plan)
    assert client.post(f"/plans/{plan.pk}/on-the-skin/", {"version": plan.version}).status_code == 302
    tape = Application.objects.get()
    assert (tape.removal, tape.remover_open) == ("clinic", True)
