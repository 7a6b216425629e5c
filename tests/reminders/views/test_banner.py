"""Late messages are said on every page staff see, the pages for what went wrong included."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, User
from taping.models import Application
from tests.factories import MessageFactory
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
TEMPLATES = Path(__file__).resolve().parents[3] / "templates"
SAID = "Messages delayed since"

FOR_STRANGERS = {"clinic/log_in.html", "clinic/log_in_wait.html"}
WITHOUT_DATABASE = {"500.html"}


@pytest.fixture
def late(clinic: Clinic) -> None:
    MessageFactory(planned_for=NOW - timedelta(minutes=3))


@pytest.mark.parametrize("name", ["today", "patients", "diary", "messages", "message_texts", "settings", "patient_add"])
def test_pages_say_it(signed_in: SignedIn, late: None, name: str) -> None:
    client, _ = signed_in("manager")
    assert SAID in client.get(reverse(name)).content.decode()


def test_a_patients_page_and_a_tapes_page_say_it(signed_in: SignedIn, late: None, tape: Application) -> None:
    client, _ = signed_in("therapist")
    for address in (f"/patients/{tape.patient_id}/", f"/applications/{tape.pk}/"):
        assert SAID in client.get(address).content.decode()


def test_pages_for_what_went_wrong_say_it(signed_in: SignedIn, late: None) -> None:
    client, user = signed_in("desk")
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    answers = [
        client.get("/nothing/here/"),
        client.get("/settings/"),
        strict.post("/patients/add/", {"full_name": "A"}),
    ]
    assert [answer.status_code for answer in answers] == [404, 403, 403]
    assert [SAID in answer.content.decode() for answer in answers] == [True] * 3


def test_while_all_is_well_nothing_is_said(signed_in: SignedIn, clinic: Clinic) -> None:
    client, _ = signed_in("manager")
    MessageFactory(planned_for=NOW - timedelta(minutes=1))
    assert SAID not in client.get("/").content.decode()


def test_strangers_and_patients_learn_nothing_of_it(client: Client, late: None, token: str) -> None:
    for address in ("/log-in/", f"/t/{token}/", "/nothing/"):
        assert SAID not in client.get(address).content.decode()


def test_every_whole_page_is_built_on_the_one_that_says_it() -> None:
    whole = {
        str(path.relative_to(TEMPLATES))
        for path in TEMPLATES.rglob("*.html")
        if "messages" not in path.parent.name and "<html" in path.read_text(encoding="utf-8")
    }
    assert {name for name in whole if "base" not in name} <= FOR_STRANGERS | WITHOUT_DATABASE | {
        name
        for name in whole
        if "sheet" in name or "export" in name  # on paper, or in a file that is handed out
    }
