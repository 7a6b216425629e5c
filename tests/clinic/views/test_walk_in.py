"""A walk-in: one page from the name to the skin screen, beside what stands in the diary."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Patient, User, Visit
from tests.factories import PatientFactory, VisitFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


def come(client: Client, user: User, **more: str) -> Any:
    form = {"full_name": "Ben Okoro", "born": "1990-05-15", "therapist": str(user.pk), **more}
    return client.post("/patients/walk-in/", form)


def test_name_and_birth_date_lead_to_the_screen(signed_in: SignedIn, now: datetime) -> None:
    client, user = signed_in()
    response = come(client, user)
    patient, visit = Patient.objects.get(), Visit.objects.get()
    assert response["Location"] == f"/patients/{patient.pk}/screen/"
    assert (visit.patient, visit.therapist, visit.state) == (patient, user, "arrived")
    assert (visit.starts_at, visit.ends_at) == (now, now + timedelta(minutes=30))


def test_therapist_is_chosen_already_for_who_tapes(signed_in: SignedIn) -> None:
    client, user = signed_in()
    assert f'value="{user.pk}" selected' in client.get("/patients/walk-in/").content.decode()


def test_desk_is_led_to_the_patient(signed_in: SignedIn) -> None:
    therapist: Any = VisitFactory().therapist
    client, _ = signed_in("desk")
    response = come(client, therapist)
    assert response["Location"] == f"/patients/{Patient.objects.latest('id').pk}/"


def test_visit_ends_where_the_next_one_begins(signed_in: SignedIn, now: datetime) -> None:
    client, user = signed_in()
    VisitFactory(therapist=user, starts_at=now + timedelta(minutes=10))
    come(client, user)
    assert Visit.objects.get(state="arrived").ends_at == now + timedelta(minutes=10)


@pytest.mark.parametrize("begins", [-10, 4])
def test_beside_another_visit_it_goes_on_and_says_why(signed_in: SignedIn, now: datetime, begins: int) -> None:
    client, user = signed_in()
    VisitFactory(therapist=user, starts_at=now + timedelta(minutes=begins))
    page = client.get(come(client, user)["Location"]).content.decode()
    assert "is in another visit now" in page
    assert "Where is the tape to go?" in page
    assert Visit.objects.count() == 1


def test_somebody_alike_is_shown_and_can_be_taken(signed_in: SignedIn, now: datetime) -> None:
    client, user = signed_in()
    known = PatientFactory(full_name="Ben Okoro", born="1990-05-15")
    shown = come(client, user)
    assert (shown.status_code, Patient.objects.count()) == (422, 1)
    assert "Is it one of these? Nothing was saved yet" in shown.content.decode()
    assert come(client, user, patient=str(known.pk))["Location"] == f"/patients/{known.pk}/screen/"
    assert (Patient.objects.count(), Visit.objects.get().patient) == (1, known)


def test_somebody_else_is_added_after_a_look(signed_in: SignedIn) -> None:
    client, user = signed_in()
    known = PatientFactory(full_name="Ben Okoro", born="1990-05-15")
    assert come(client, user, alike_seen=str(known.pk)).status_code == 302
    assert Patient.objects.count() == 2


def test_own_visit_of_the_moment_is_used(signed_in: SignedIn, now: datetime) -> None:
    client, user = signed_in()
    known = PatientFactory(full_name="Ben Okoro", born="1990-05-15")
    VisitFactory(patient=known, therapist=user, starts_at=now - timedelta(minutes=5))
    come(client, user, patient=str(known.pk))
    assert Visit.objects.count() == 1


def test_double_tap_makes_one_patient(signed_in: SignedIn) -> None:
    client, user = signed_in()
    for _ in range(2):
        come(client, user, once="5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11", alike_seen="1")
    assert (Patient.objects.count(), Visit.objects.count()) == (1, 1)


@pytest.mark.parametrize("missing", ["full_name", "born", "therapist"])
def test_what_is_missing_is_named_and_the_rest_kept(signed_in: SignedIn, missing: str) -> None:
    client, user = signed_in()
    response = come(client, user, **{missing: ""})
    assert (response.status_code, list(response.context["form"].errors)) == (422, [missing])
    assert Patient.objects.count() == 0


def test_child_is_told_of(signed_in: SignedIn) -> None:
    client, user = signed_in()
    page = client.get(come(client, user, born="2020-05-15")["Location"]).content.decode()
    assert "This patient is a minor" in page
