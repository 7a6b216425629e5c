"""Tape that went on before it could be recorded, as after an outage: the screen keeps its own time, and so does it."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Patient, User
from taping.models import Application, SkinScreen
from tests.factories import PatientFactory, ScreenFactory, StripFactory, StripPlanFactory
from tests.taping.screening import answers
from tests.taping.views.test_slice import HOME, STRIP

SignedIn = Callable[..., tuple[Client, User]]
WHY = "no Wi-Fi until tonight"


@pytest.fixture
def evening(now: datetime) -> datetime:
    """21:33 in New York, on the day of the tape at 10:00."""
    return now + timedelta(hours=11, minutes=33)


@pytest.fixture(autouse=True)
def _in_the_evening(evening: datetime) -> Iterator[None]:
    with time_machine.travel(evening, tick=False):
        yield


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


@pytest.fixture
def patient(db: None) -> Patient:
    made: Patient = PatientFactory()
    return made


def screened(client: Client, patient: Patient, **given: str) -> Any:
    return client.post(f"/patients/{patient.pk}/screen/?region=knee&side=left", {**answers(), **given})


def test_whole_late_entry(therapist: Client, patient: Patient, now: datetime) -> None:
    asked = screened(therapist, patient, made_at="09:50", late_reason=WHY)
    plan = therapist.post(f"{asked['Location']}plan/")["Location"]
    therapist.post(plan, {**STRIP, "do": "add", "version": "1"})
    late = {**HOME, "version": "2", "time": "10:00", "late_reason": WHY}
    laid: Any = therapist.post(f"{plan}on-the-skin/", late)
    tape, screen = Application.objects.get(), SkinScreen.objects.get()
    assert laid["Location"] == f"/applications/{tape.pk}/"
    assert (screen.made_at, screen.late_reason) == (now - timedelta(minutes=10), WHY)
    assert (tape.applied_at, tape.late_reason) == (now, WHY)


def test_nothing_typed_is_now(therapist: Client, patient: Patient, evening: datetime) -> None:
    screened(therapist, patient)
    screen = SkinScreen.objects.get()
    assert (screen.made_at, screen.late_reason) == (evening, "")


@pytest.mark.parametrize(("typed", "status"), [("21:18", 302), ("21:17", 422)])
def test_reason_is_asked_after_a_quarter_of_an_hour(
    therapist: Client, patient: Patient, typed: str, status: int
) -> None:
    assert screened(therapist, patient, made_at=typed).status_code == status
    assert SkinScreen.objects.count() == (status == 302)


@pytest.mark.parametrize(
    ("typed", "why", "field", "words"),
    [
        ("21:34", WHY, "made_at", "That time is still to come."),
        ("noon", WHY, "made_at", "Write the time like 14:05."),
        ("09:50", "", "late_reason", "more than 15 minutes ago. Say why it is recorded now."),
        ("09:50", "  ", "late_reason", "more than 15 minutes ago. Say why it is recorded now."),
    ],
)
def test_bad_time_is_refused_beside_its_field_and_kept(
    therapist: Client, patient: Patient, typed: str, why: str, field: str, words: str
) -> None:
    response = screened(therapist, patient, made_at=typed, late_reason=why)
    form = response.context["form"]
    assert (response.status_code, list(form.errors)) == (422, [field])
    assert words in form.errors[field][0]
    assert f'value="{typed}"' in response.content.decode()
    assert SkinScreen.objects.count() == 0


@pytest.mark.parametrize(
    ("now_then", "typed", "words"),
    [
        # New York leaves out 02:00 to 03:00 on 14 March 2027 and repeats 01:00 to 02:00 on 7 November (IANA tz).
        (datetime(2027, 3, 14, 16, 0, tzinfo=UTC), "02:30", "does not exist in America/New_York"),
        (datetime(2027, 11, 7, 16, 0, tzinfo=UTC), "01:30", "happens twice in America/New_York"),
    ],
)
def test_time_that_no_clock_shows_once_is_refused_beside_its_field(
    signed_in: SignedIn, patient: Patient, now_then: datetime, typed: str, words: str
) -> None:
    with time_machine.travel(now_then, tick=False):
        response = screened(signed_in()[0], patient, made_at=typed, late_reason=WHY)
    form = response.context["form"]
    assert (response.status_code, list(form.errors)) == (422, ["made_at"])
    assert words in form.errors["made_at"][0]


def test_recorded_screen_says_why_it_is_late(therapist: Client, patient: Patient) -> None:
    asked = screened(therapist, patient, made_at="09:50", late_reason="no <Wi-Fi>")
    page = therapist.get(asked["Location"]).content.decode()
    assert "<dt>Recorded later</dt><dd><bdi>no &lt;Wi-Fi&gt;</bdi></dd>" in page


def test_time_is_kept_while_the_open_cautions_are_answered(therapist: Client, patient: Patient) -> None:
    response = screened(therapist, patient, none_of_these="1", diabetes="", made_at="09:50", late_reason=WHY)
    form = response.context["form"]
    assert (form["made_at"].value(), form["late_reason"].value()) == ("09:50", WHY)


def test_tape_before_its_screen_leads_to_a_screen_with_its_time(therapist: Client, evening: datetime) -> None:
    plan = StripPlanFactory(screen=ScreenFactory(made_at=evening, answers=answers()))
    StripFactory(plan=plan, position=1)
    late = {**HOME, "version": plan.version, "time": "10:00", "late_reason": WHY}
    page = therapist.post(f"/plans/{plan.pk}/on-the-skin/", late).content.decode()
    again = f"/patients/{plan.screen.patient_id}/screen/?region=knee&amp;side=left&amp;goal=ease_pain"
    assert "The screen was made after the tape went on." in page
    assert f'<a href="{again}">Record the screen again with the time it was asked at</a>' in page
