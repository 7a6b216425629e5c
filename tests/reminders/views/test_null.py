"""A null character, which no database keeps, gets an answer at every address and in every question, never a fault."""

import re

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from clinic.models import Clinic, Patient
from taping.models import Application
from tests.factories import PatientFactory
from tests.factories.clinic import UserFactory

PARAMETERS = (
    "q", "page", "name", "patient", "day", "show", "kind", "channel", "state", "view", "therapist", "starts", "minutes",
    "purpose", "region", "side", "goal", "language", "relation", "next", "then", "in", "at", "whole", "done", "born",
    "from", "until", "who", "verb",
)  # fmt: skip
WITH_QUESTIONS = (
    "patients", "patient_add", "walk_in", "visit_book", "diary", "messages", "events", "message_texts", "sheets",
    "settings", "today", "today_live", "log_in", "locked", "staff", "import_begin", "rolls",
)  # fmt: skip


@pytest.fixture
def staff(clinic: Clinic) -> Client:
    """Somebody who may open every page."""
    user = UserFactory(is_manager=True, is_therapist=True, is_front_desk=True)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


ASKED = (("patients", "q"), ("patient_add", "name"), ("walk_in", "name"), ("visit_book", "q"))
"""These show again what was asked."""


def texts_in_addresses() -> list[str]:
    """Every address with a part that is text, and a null character in each such part."""
    found: list[str] = []

    def walk(patterns: list[URLPattern | URLResolver], before: str) -> None:
        for pattern in patterns:
            here = before + str(pattern.pattern)
            if isinstance(pattern, URLResolver):
                walk(pattern.url_patterns, here)
            elif "<str:" in here:
                with_null = re.sub(r"<str:\w+>", "a%00b", here)
                found.append("/" + re.sub(r"<int:\w+>", "1", with_null))

    walk(get_resolver().url_patterns, "")
    return sorted(found)


@pytest.mark.django_db
@pytest.mark.parametrize("address", texts_in_addresses())
def test_in_an_address(client: Client, staff: Client, address: str) -> None:
    for who in (client, staff):
        for answer, right in ((who.get(address), (302, 404, 405)), (who.post(address), (302, 404, 405))):
            assert answer.status_code in right, address
            assert "\x00" not in answer.content.decode()


def test_the_addresses_that_hold_text_are_found() -> None:
    assert {"/t/a%00b/", "/u/a%00b/", "/t/a%00b/a%00b/"} <= set(texts_in_addresses())


def test_a_patients_link_with_a_null_looks_like_any_other_unknown_link(client: Client, tape: Application) -> None:
    null, unknown = client.get("/t/a%00b/"), client.get("/t/nobodys-link/")
    assert (null.status_code, null.content) == (404, unknown.content)


@pytest.mark.parametrize("name", WITH_QUESTIONS)
def test_in_a_question(staff: Client, tape: Application, name: str) -> None:
    for parameter in PARAMETERS:
        answer = staff.get(f"{reverse(name)}?{parameter}=a%00b")
        assert answer.status_code in (200, 302, 404, 422), (name, parameter)
        if (name, parameter) in ASKED:
            assert b"\x00" not in answer.content, (name, parameter)


def test_a_name_with_a_null_is_refused_beside_its_field(staff: Client) -> None:
    PatientFactory()
    answer = staff.post(reverse("patient_add"), {"full_name": "a\x00b", "call_me": "Al", "prefers": "sms"})
    page = answer.content.decode()
    assert (answer.status_code, Patient.objects.count()) == (422, 1)
    assert "ull character" in page or "U+0000" in page
    assert 'value="Al"' in page
