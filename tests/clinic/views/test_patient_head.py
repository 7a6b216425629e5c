"""The head of a patient's pages: who this is and how to reach them."""

from datetime import date
from typing import Any

import pytest
from django.template.loader import render_to_string

from clinic.models import Clinic, Patient
from tests.factories.clinic import NOW, HelperFactory, PatientFactory, UserFactory

pytestmark = pytest.mark.django_db


def head(patient: Patient) -> str:
    one = Patient.objects.prefetch_related("helpers").get(pk=patient.pk)
    context = {"patient": one, "today": date(2027, 3, 10), "clinic": Clinic()}
    page = render_to_string("clinic/_patient_head.html", context)
    return " ".join(page.split())


def test_it_says_who_to_ask_for_and_where() -> None:
    patient = PatientFactory(call_me="Ada", phone="+12125550123", email="ada@example.org", may_leave_message=True)
    page = head(patient)
    assert "<bdi>Ada</bdi>" in page
    assert "3 April 1985, 41 years old" in page
    assert 'href="tel:+12125550123"' in page
    assert "a message may be left" in page
    assert 'href="mailto:ada@example.org"' in page


def test_without_a_first_name_nobody_is_greeted_by_one() -> None:
    page = head(PatientFactory(call_me="", born=None, phone="", email=""))
    assert "greet without a name" in page
    assert "<dt>Born</dt><dd>not known</dd>" in page
    assert page.count("<dd>none</dd>") == 2


@pytest.mark.parametrize(
    ("fields", "word", "button"),
    [
        ({"consents": True}, "agreed", "Withdraw the agreement"),
        ({"consents": False, "consent_withdrawn_at": NOW}, "withdrawn", "record it"),
        ({"consents": False, "consent_at": None}, "not agreed", "record it"),
    ],
)
def test_consent_is_a_word_and_can_be_changed_here(fields: dict[str, Any], word: str, button: str) -> None:
    page = head(PatientFactory(**fields))
    assert f"</svg> {word}</span>" in page
    assert button in page


def test_helpers_are_shown_with_what_they_do() -> None:
    helper = HelperFactory(gets_messages=True, takes_tape_off=True, relation="guardian")
    page = head(helper.patient)
    assert "<dt>Parent or guardian</dt>" in page
    assert "gets the messages · takes the tape off" in page


def test_who_asked_for_the_agreement_is_named() -> None:
    asked = UserFactory(full_name="Dana Desk")
    assert "asked by <bdi>Dana Desk</bdi>" in head(PatientFactory(consents=True, consent_asked_by=asked))
    assert "asked by" not in head(PatientFactory(consents=True))
