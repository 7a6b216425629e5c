"""Tape goes only where the skin was looked at: a screen of one knee permits none on the other, through the pages."""

from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic, User
from taping.models import Application, SkinScreen, StripPlan
from tests.factories import PatientFactory
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]
STRIP = {
    "span": "30", "by": "tension", "tension": "10", "shape": "i", "start": "one_end", "direction": "none",
    "anchor_first": "5", "anchor_last": "5",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def therapist(signed_in: SignedIn, clinic: Clinic) -> Client:
    return signed_in()[0]


def screened(client: Client, patient: int, side: str) -> SkinScreen:
    client.post(f"/patients/{patient}/screen/?region=knee&side={side}", answers())
    return SkinScreen.objects.get(patient=patient, side=side)


def planned(client: Client, screen: SkinScreen) -> StripPlan:
    client.post(f"/screens/{screen.pk}/plan/")
    plan: StripPlan = screen.plans.get()
    client.post(f"/plans/{plan.pk}/", {**STRIP, "do": "add", "version": plan.version})
    return screen.plans.get()


def on_skin(client: Client, plan: StripPlan, **typed: Any) -> Any:
    return client.post(f"/plans/{plan.pk}/on-the-skin/", {"version": plan.version, **typed})


def test_tape_on_the_other_knee_is_refused_in_plain_words_and_nothing_is_lost(therapist: Client) -> None:
    patient = PatientFactory()
    plan = planned(therapist, screened(therapist, patient.pk, "left"))
    response = on_skin(therapist, plan, side="right", posture="sitting, knee bent", reason="stairs hurt")
    page = response.content.decode()
    assert (response.status_code, Application.objects.count()) == (422, 0)
    words = "The screen is of the left knee, the tape of the right knee. Tape goes only where the skin was looked at"
    beside = page.partition('<div id="id_side_error">')[2].partition("</div>")[0]
    assert words in beside
    assert words in page.partition('class="error-summary"')[2].partition("</div>")[0]
    link = (
        f'href="/patients/{patient.pk}/screen/?region=knee&amp;side=right&amp;goal={plan.goal}">Screen the right knee'
    )
    assert link in page
    assert "sitting, knee bent" in page
    assert "stairs hurt" in page
    assert plan.strips.count() == 1


def test_each_knee_is_taped_from_its_own_screen(therapist: Client) -> None:
    patient = PatientFactory()
    plans = {side: planned(therapist, screened(therapist, patient.pk, side)) for side in ("left", "right")}
    # Both are screened today, and still the plan of one is no plan of the other.
    assert on_skin(therapist, plans["left"], side="right").status_code == 422
    for side, plan in plans.items():
        assert on_skin(therapist, plan, side=side).status_code == 302
    assert sorted(Application.objects.values_list("side", "plan__screen__side")) == [
        ("left", "left"), ("right", "right"),
    ]  # fmt: skip


def test_the_screened_side_stands_there_and_the_chosen_one_stays_while_a_strip_is_added(therapist: Client) -> None:
    plan = planned(therapist, screened(therapist, PatientFactory().pk, "left"))
    page = therapist.get(f"/plans/{plan.pk}/").content.decode()
    assert [word in page for word in ('value="left" id="id_side_0" checked', ">Left knee<", ">Right knee<")] == [
        True, True, True,
    ]  # fmt: skip
    therapist.post(f"/plans/{plan.pk}/", {**STRIP, "do": "add", "version": plan.version, "side": "right"})
    again = therapist.get(f"/plans/{plan.pk}/").content.decode()
    assert 'value="right" id="id_side_1" checked' in again


def test_a_side_that_no_knee_has_is_refused(therapist: Client) -> None:
    plan = planned(therapist, screened(therapist, PatientFactory().pk, "left"))
    response = on_skin(therapist, plan, side="midline")
    assert (response.status_code, Application.objects.count()) == (422, 0)
    assert "Choose the side that the tape is on." in response.content.decode()
