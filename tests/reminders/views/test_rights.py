"""The pages on which a manager erases a record and says how long records are kept."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, Event, Patient, User
from clinic.services.clinic import clinic_change
from clinic.services.events import Actor
from reminders.models import CallItem
from taping.models import Application
from tests.factories import ApplicationFactory, PatientFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
KEEPING = reverse("keeping")


@pytest.fixture
def manager(signed_in: SignedIn) -> Client:
    return signed_in("manager")[0]


def erase(patient: Patient) -> str:
    return reverse("patient_erase", args=[patient.pk])


def test_the_page_says_first_what_goes_and_what_stays_and_changes_nothing(manager: Client) -> None:
    patient = PatientFactory()
    page = manager.get(erase(patient)).content.decode()
    assert "This goes, for good" in page
    assert "This stays, without a name" in page
    assert "Erase the record</button>" in page
    assert Patient.objects.get().erased_at is None


def test_without_the_tick_nothing_is_erased(manager: Client) -> None:
    answer = manager.post(erase(PatientFactory()))
    assert (answer.status_code, "tick that it cannot be taken back" in answer.content.decode()) == (422, True)
    assert Patient.objects.get().erased_at is None


def test_with_it_the_record_is_erased_and_found_no_more(manager: Client) -> None:
    patient = PatientFactory(full_name="Zebedee Quillfeather")
    answer = manager.post(erase(patient), {"sure": "yes"}, follow=True)
    assert "What stays has no name" in answer.content.decode()
    assert "Quillfeather" not in answer.content.decode()
    assert "Nobody matches" in manager.get(reverse("patients"), {"q": "erased"}).content.decode()
    for name in ("patient_change", "helper_add"):
        assert manager.get(reverse(name, args=[patient.pk])).status_code == 404


def test_tape_on_the_skin_is_handed_to_the_call_list_first(manager: Client) -> None:
    tape: Application = ApplicationFactory()
    page = manager.get(erase(tape.patient)).content.decode()
    assert "Tape is on the skin" in page
    assert "Erase the record</button>" not in page
    manager.post(erase(tape.patient), {"sure": "yes"})
    assert Patient.objects.get().erased_at is None
    manager.post(reverse("patient_erase_call", args=[tape.patient_id]))
    item = CallItem.objects.get()
    assert (item.application, item.reason, item.closed_at) == (tape, "call_back", None)
    manager.post(erase(tape.patient), {"sure": "yes"})
    assert Patient.objects.get().erased_at is None, "whoever calls needs the name"
    Application.objects.update(ended_at=NOW, ended_how="off")
    manager.post(erase(tape.patient), {"sure": "yes"})
    assert Patient.objects.get().erased_at is not None
    assert CallItem.objects.get().closed_how == "erased"


def test_an_erased_record_says_so(manager: Client) -> None:
    patient = PatientFactory()
    manager.post(erase(patient), {"sure": "yes"})
    page = manager.get(reverse("patient_page", args=[patient.pk])).content.decode()
    assert "This record was erased" in page
    assert reverse("visit_book") not in page
    assert "was erased" in manager.get(erase(patient)).content.decode()


PERIODS = {"keep_records_years": 10, "keep_messages_months": 6, "keep_events_years": 3}


def test_the_first_post_shows_what_would_go_and_the_second_saves(manager: Client) -> None:
    tape = ApplicationFactory(
        applied_at=NOW - timedelta(days=4000), ended_at=NOW - timedelta(days=3990), ended_how="off"
    )
    Patient.objects.filter(pk=tape.patient_id).update(created_at=NOW - timedelta(days=4000))
    page = manager.post(KEEPING, PERIODS).content.decode()
    assert "Nothing is saved yet" in page
    assert "1 record of patients" in page
    assert Clinic.objects.get().keep_records_years == 0
    confirm = re.findall(r'name="confirm" value="([^"]+)"', page)[0]
    corrected = manager.post(KEEPING, {**PERIODS, "keep_records_years": 5, "confirm": confirm}).content.decode()
    assert ("Nothing is saved yet" in corrected, Clinic.objects.get().keep_records_years) == (True, 0)
    manager.post(KEEPING, {**PERIODS, "confirm": confirm})
    clinic = Clinic.objects.get()
    assert {name: getattr(clinic, name) for name in PERIODS} == PERIODS
    assert Event.objects.get(verb="clinic.changed").fields == sorted(PERIODS)
    assert Patient.objects.get().erased_at is None, "that is done at night"


def test_periods_that_somebody_else_saved_since_are_not_undone_unseen(manager: Client) -> None:
    looked = re.findall(r'name="confirm" value="([^"]+)"', manager.post(KEEPING, PERIODS).content.decode())[0]
    clinic_change(actor=Actor(word="test"), now=NOW, values={"keep_records_years": 30})
    page = manager.post(KEEPING, {**PERIODS, "confirm": looked}).content.decode()
    assert ("than was shown to you" in page, Clinic.objects.get().keep_records_years) == (True, 30)
    again = re.findall(r'name="confirm" value="([^"]+)"', page)[0]
    assert manager.post(KEEPING, {**PERIODS, "confirm": again}).status_code == 302
    assert Clinic.objects.get().keep_records_years == 10


@pytest.mark.parametrize(("name", "value"), [("keep_records_years", 51), ("keep_messages_months", -1),
                                             ("keep_events_years", "many"), ("keep_events_years", "")])  # fmt: skip
def test_a_period_outside_its_bounds_is_refused(manager: Client, name: str, value: object) -> None:
    answer = manager.post(KEEPING, {**PERIODS, name: value, "confirm": "1"})
    assert (answer.status_code, "or a whole number from 1 to" in answer.content.decode()) == (422, True)
    assert Clinic.objects.get().keep_records_years == 0
