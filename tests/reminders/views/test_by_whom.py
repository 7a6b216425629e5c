"""Who takes the tape off, in the words of the staff pages."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from clinic.models import User
from taping.models import Application
from tests.factories import HelperFactory, VisitFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
Text = Callable[[str], str]


@pytest.mark.parametrize("role", ["therapist", "desk"])
@pytest.mark.parametrize("removal", ["home", "helper", "clinic"])
def test_a_removal_visit_stands_wherever_a_page_says_by_whom(
    signed_in: SignedIn, tape: Application, text_of: Text, removal: str, role: str
) -> None:
    """The visit is the removal day; no page may still name the patient at home beside it."""
    signed_in(role)
    tape.removal, tape.helper = removal, HelperFactory(patient=tape.patient)
    tape.removal_visit = VisitFactory(
        patient=tape.patient, purpose="removal", starts_at=NOW, ends_at=NOW + timedelta(minutes=30)
    )
    tape.removal_day = NOW.date()
    tape.save()
    pages = [text_of(f"/applications/{tape.pk}/"), text_of(f"/patients/{tape.patient_id}/")]
    assert ["the clinic, today 10:00" in page for page in pages] == [True, True]
    assert ["the patient, at home" in page or "a helper:" in page for page in pages] == [False, False]


@pytest.mark.parametrize(
    ("removal", "words"),
    [("home", "the patient, at home"), ("helper", "a helper: <span"), ("clinic", "the clinic, no visit booked")],
)
def test_without_a_visit_the_choice_of_handing_over_stands(
    signed_in: SignedIn, tape: Application, text_of: Text, removal: str, words: str
) -> None:
    signed_in()
    tape.removal, tape.helper = removal, HelperFactory(patient=tape.patient)
    tape.save()
    assert words in text_of(f"/applications/{tape.pk}/")
    assert words in text_of(f"/patients/{tape.patient_id}/")
