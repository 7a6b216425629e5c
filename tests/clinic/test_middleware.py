"""What every answer has in common."""

from collections.abc import Callable

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, User
from tests.factories.clinic import NOW, PatientFactory

SignedIn = Callable[..., tuple[Client, User]]


def test_pages_are_kept_by_nobody_and_load_nothing_from_outside(signed_in: SignedIn) -> None:
    headers = signed_in("desk")[0].get(reverse("patients")).headers
    assert headers["Cache-Control"] == "no-store, private"
    assert headers["X-Robots-Tag"] == "noindex, nofollow"
    assert headers["X-Frame-Options"] == "DENY"
    assert "script-src 'self';" in headers["Content-Security-Policy"] + ";"
    assert "unsafe" not in headers["Content-Security-Policy"]


@pytest.mark.parametrize(("zone", "shown"), [("America/New_York", "today"), ("Asia/Tokyo", "yesterday")])
def test_pages_speak_the_clinics_day(signed_in: SignedIn, clinic: Clinic, zone: str, shown: str) -> None:
    """The day is the clinic's, not the server's: 14:00 and 23:00 UTC are one day in New York and two in Tokyo."""
    Clinic.objects.update(time_zone=zone)
    with time_machine.travel(NOW.replace(hour=23), tick=False):
        client, _ = signed_in("desk")
        patient = PatientFactory(consent_at=NOW.replace(hour=14))
        page = client.get(reverse("patient_page", args=[patient.pk])).content.decode()
    assert f"by text message, {shown}" in " ".join(page.split())


def test_a_clinic_never_set_up_still_answers(client: Client, db: None) -> None:
    assert client.get(reverse("log_in")).status_code == 200
