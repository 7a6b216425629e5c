"""What every test may ask for."""

from collections.abc import Callable
from datetime import datetime

import pytest
from django.test import Client

from clinic.models import Clinic, OpeningHours, User
from tests.factories.clinic import NOW, UserFactory


@pytest.fixture
def now() -> datetime:
    """The tests' moment: Wednesday 10 March 2027, 10:00 in New York."""
    return NOW


@pytest.fixture
def clinic(db: None) -> Clinic:
    """An invented clinic, open Monday to Friday 08:00-18:00, every required setting made."""
    row = Clinic(
        name="Harbour Lane Clinic",
        telephone="(212) 555-0100",
        emergency_number="911",
        out_of_hours_advice="Outside opening hours call (212) 555-0101.",
        duty_address="duty@example.org",
    )
    row.save()
    for weekday in range(5):
        OpeningHours.objects.create(weekday=weekday, opens="08:00", closes="18:00")
    return row


@pytest.fixture
def signed_in(client: Client, clinic: Clinic) -> Callable[..., tuple[Client, User]]:
    """signed_in("therapist") gives a client and its user; roles: desk, manager, student, therapist."""

    def make(role: str = "therapist") -> tuple[Client, User]:
        user = UserFactory() if role == "therapist" else UserFactory(**{role: True})
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client, user

    return make
