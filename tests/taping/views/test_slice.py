"""The whole job of a therapist in one go, and what every page of it must keep to."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any
from xml.etree import ElementTree

import pytest
import time_machine
from django.test import Client

from clinic.models import Patient, User
from taping.models import Application, SkinScreen, StripPlan
from taping.rules.removal import REMOVAL_QUESTIONS
from tests.factories import ApplicationFactory, PatientFactory, ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]
STRIP = {
    "span": "30",
    "by": "tension",
    "tension": "20",
    "shape": "i",
    "start": "centre",
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
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


@pytest.fixture
def patient(db: None) -> Patient:
    made: Patient = PatientFactory(full_name="Ada <b>Quill</b>")
    return made


@pytest.fixture
def pages(therapist: Client, patient: Patient) -> dict[str, str]:
    """Every page of the slice, as it is with something on it."""
    screen = ScreenFactory(
        patient=patient, answers=answers(diabetes="yes"), outcome="clear_with_care", note="<i>met</i>"
    )
    empty, laid = StripPlanFactory(screen=screen), StripPlanFactory(screen=screen)
    StripFactory(plan=laid, position=1)
    tape = ApplicationFactory(patient=patient, region="elbow")
    addresses = {
        "place": f"/patients/{patient.pk}/screen/",
        "screen": f"/patients/{patient.pk}/screen/?region=knee&side=left",
        "verdict": f"/screens/{screen.pk}/",
        "plan": f"/plans/{empty.pk}/",
        "laying": f"/plans/{laid.pk}/",
        "end": f"/applications/{tape.pk}/end/",
    }
    return {name: therapist.get(address).content.decode() for name, address in addresses.items()}


def test_screen_plan_lay_and_end(therapist: Client, patient: Patient, now: datetime) -> None:
    screened = therapist.post(
        f"/patients/{patient.pk}/screen/?region=knee&side=left", {**answers(), "goal": "ease_pain"}
    )
    begun = therapist.post(f"{screened['Location']}plan/")
    added = therapist.post(begun["Location"], {**STRIP, "do": "add", "version": "1"})
    assert added["Location"] == f"{begun['Location']}#strips"
    laid = therapist.post(f"{begun['Location']}on-the-skin/", {**HOME, "version": "2"})
    tape = Application.objects.get()
    assert laid["Location"] == f"/applications/{tape.pk}/"
    with time_machine.travel(now + timedelta(hours=3), tick=False):
        therapist.post(f"/applications/{tape.pk}/end/", {"how": "came_off", "ended_at": "2027-03-10T12:00"})
    tape.refresh_from_db()
    assert (tape.region, tape.side, tape.ended_how) == ("knee", "left", "came_off")
    assert (SkinScreen.objects.get().goal, StripPlan.objects.get().version) == ("ease_pain", 2)


def test_pages_have_one_heading_and_say_where_you_are(pages: dict[str, str]) -> None:
    titles = {name: re.findall(r"<title>(.*?) · Wearwindow</title>", page)[0] for name, page in pages.items()}
    assert titles == {
        "place": "Where is the tape to go? Ada &lt;b&gt;Quill&lt;/b&gt;",
        "screen": "Skin screen, left knee",
        "verdict": "Skin screen, left knee: Ada &lt;b&gt;Quill&lt;/b&gt;",
        "plan": "Strips, left knee",
        "laying": "Strips, left knee",
        "end": "The tape is off: left elbow",
    }
    assert {name: page.count("<h1") for name, page in pages.items()} == dict.fromkeys(pages, 1)


def test_nothing_is_styled_or_run_inside_the_pages(pages: dict[str, str]) -> None:
    for page in pages.values():
        assert not re.findall(r"\sstyle=|<style|javascript:|\son[a-z]+=", page)
        assert not re.findall(r"<script(?![^>]*src=)", page)


def test_what_people_typed_is_never_markup(pages: dict[str, str]) -> None:
    for page in pages.values():
        assert "<b>Quill" not in page
        assert "<i>met" not in page


def test_every_id_is_there_once(pages: dict[str, str]) -> None:
    for name, page in pages.items():
        ids = re.findall(r'\sid="([^"]+)"', page)
        assert sorted(ids) == sorted(set(ids)), name


def test_every_control_has_a_label(pages: dict[str, str]) -> None:
    for name, page in pages.items():
        labelled = set(re.findall(r'<label[^>]*for="([^"]+)"', page))
        controls = re.findall(r'<(?:input|select|textarea)(?![^>]*type="hidden")[^>]*\sid="([^"]+)"', page)
        assert set(controls) <= labelled, name


@pytest.mark.parametrize("name", ["screen", "plan", "laying", "end"])
def test_forms_carry_their_tokens(pages: dict[str, str], name: str) -> None:
    assert 'name="csrfmiddlewaretoken"' in pages[name]
    assert 'name="once"' in pages[name]


def test_drawings_in_the_page_are_well_formed(pages: dict[str, str]) -> None:
    drawings = re.findall(r"<svg xmlns.*?</svg>", pages["laying"] + pages["place"], flags=re.DOTALL)
    assert [ElementTree.fromstring(drawing).tag for drawing in drawings] == ["{http://www.w3.org/2000/svg}svg"] * 3


def test_pages_are_kept_by_no_browser(therapist: Client, patient: Patient) -> None:
    response = therapist.get(f"/patients/{patient.pk}/screen/")
    assert response["Cache-Control"] == "no-store, private"


@pytest.mark.parametrize(
    ("address", "data"),
    [
        ("/patients/{patient}/screen/?region=knee&side=left", {"rash": "yes-no"}),
        ("/plans/{plan}/", {"do": "add"}),
        ("/plans/{plan}/on-the-skin/", {"removal": "home"}),
        ("/applications/{tape}/end/", {}),
    ],
)
def test_summary_links_lead_to_what_is_wrong(
    therapist: Client, patient: Patient, address: str, data: dict[str, str]
) -> None:
    plan = StripPlanFactory(screen=ScreenFactory(patient=patient))
    StripFactory(plan=plan, position=1)
    tape = ApplicationFactory(patient=patient, region="elbow")
    response = therapist.post(address.format(patient=patient.pk, plan=plan.pk, tape=tape.pk), data)
    page = response.content.decode()
    links = re.findall(r'<li><a href="#([^"]+)">', page)
    assert response.status_code == 422
    assert links
    assert set(links) <= set(re.findall(r'\sid="([^"]+)"', page))
    assert re.findall(r"<title>(Error: )", page) == ["Error: "]


def test_log_in_is_asked_for_first(client: Client, patient: Patient) -> None:
    response: Any = client.get(f"/patients/{patient.pk}/screen/")
    assert response["Location"] == f"/log-in/?next=/patients/{patient.pk}/screen/"


def test_lost_session_sends_a_fragment_to_the_log_in_page(client: Client, patient: Patient) -> None:
    response: Any = client.post(
        f"/patients/{patient.pk}/screen/?region=knee&side=left", {"do": "save"}, headers={"HX-Request": "true"}
    )
    assert (response.status_code, response["HX-Redirect"].partition("?")[0]) == (204, "/log-in/")
    assert response.content == b""
