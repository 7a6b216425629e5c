"""Finding, adding and changing a patient, as the desk does it."""

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Event, Patient, User
from tests.factories.clinic import PatientFactory

SignedIn = Callable[..., tuple[Client, User]]


def typed(**changed: Any) -> dict[str, Any]:
    """A complete form for somebody new."""
    form = {
        "full_name": "Bea Long",
        "call_me": "Bea",
        "born": "1985-04-03",
        "phone": "(212) 555-0144",
        "email": "",
        "prefers": "sms",
        "language": "en",
        "consents": "yes",
        "once": str(uuid4()),
    }
    return {**form, **changed}


def test_a_new_patient_is_kept_as_typed(signed_in: SignedIn) -> None:
    client, user = signed_in("desk")
    answer = client.post(reverse("patient_add"), typed())
    patient = Patient.objects.get()
    assert answer.headers["Location"] == reverse("patient_page", args=[patient.pk])
    assert (patient.full_name, patient.born, patient.phone) == ("Bea Long", date(1985, 4, 3), "+12125550144")
    assert (patient.consents, patient.consent_asked_by) == (True, user)
    assert Event.objects.get(verb="patient.added").actor == user


def test_the_same_form_sent_twice_makes_one_patient(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    form = typed()
    first = client.post(reverse("patient_add"), form)
    second = client.post(reverse("patient_add"), {**form, "alike_seen": str(Patient.objects.get().pk)})
    assert (first.headers["Location"], Patient.objects.count()) == (second.headers["Location"], 1)
