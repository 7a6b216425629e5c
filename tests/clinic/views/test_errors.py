"""The pages for what went wrong."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Patient, User
from tests.factories.clinic import PASSWORD, PatientFactory, UserFactory

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture
def strict(clinic: object) -> Client:
    """A browser whose forms are protected as in earnest, logged in."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(UserFactory(), backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_a_form_older_than_the_last_log_in_keeps_what_was_typed(strict: Client) -> None:
    form = {"full_name": "Bea <Long>", "note": "\nTwo\nlines", "csrfmiddlewaretoken": "stale", "once": "k"}
    answer = strict.post(reverse("patient_add") + "?name=x", form)
    page = answer.content.decode()
    assert (answer.status_code, Patient.objects.count()) == (403, 0)
    assert "Bea &lt;Long&gt;" in page
    # HTML drops one line break right after the tag, so that the typed one must follow another.
    assert '<textarea name="note" hidden>\n\nTwo\nlines</textarea>' in page
    assert f'action="{reverse("patient_add")}?name=x"' in page
    assert '"stale"' not in page


def test_sending_it_again_with_the_new_token_saves_it(strict: Client) -> None:
    patient = PatientFactory()
    address = reverse("patient_consent", args=[patient.pk])
    page = strict.post(address, {"consents": "no"})
    token = page.context["csrf_token"]
    assert strict.post(address, {"consents": "no", "csrfmiddlewaretoken": str(token)}).status_code == 302
    patient.refresh_from_db()
    assert patient.consents is False


def test_a_stale_log_in_form_gives_no_password_back(clinic: object) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post(reverse("log_in"), {"username": "thea", "password": PASSWORD})
    assert answer.status_code == 403
    assert PASSWORD not in answer.content.decode()


def test_somebody_logged_out_meanwhile_is_asked_to_log_in(clinic: object) -> None:
    page = Client(enforce_csrf_checks=True).post(reverse("patient_add"), {"full_name": "Bea"}).content.decode()
    assert f'href="{reverse("log_in")}"' in page
    assert "<form" not in page


def test_forms_from_browsers_pass_their_own_origin(strict: Client) -> None:
    """With Referrer-Policy no-referrer a browser sends Origin: null (Fetch standard), which is refused."""
    assert strict.get(reverse("log_in"), follow=True).headers["Referrer-Policy"] == "same-origin"
    null = strict.post(reverse("patient_add"), {}, headers={"Origin": "null"})
    assert null.status_code == 403


@pytest.mark.parametrize("megabytes", [2.2, 2.9])
def test_a_long_form_is_read_and_its_own_field_says_what_is_too_long(signed_in: SignedIn, megabytes: float) -> None:
    client, _ = signed_in("desk")
    note = "n" * int(megabytes * 1024**2)
    answer = client.post(reverse("patient_add"), {"full_name": "Bea Long", "note": note, "once": ""})
    page = answer.content.decode()
    assert (answer.status_code, Patient.objects.count()) == (422, 0)
    assert "at most 2000 characters" in page
    assert ('value="Bea Long"' in page, note in page) == (True, True), "what was typed stays"


def test_a_form_of_too_many_fields_says_what_to_do(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    answer = client.post(reverse("patient_add"), {f"field{number}": "x" for number in range(1001)})
    page = " ".join(answer.content.decode().split())
    assert (answer.status_code, answer.headers["Cache-Control"]) == (413, "no-store, private")
    assert "This form is too long" in page
    assert "Nothing was kept or changed." in page
    assert 'href="/">Go to Today' in page, "an address that takes posts alone would open nothing"


def test_a_form_that_came_in_part_says_so(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    broken = "multipart/form-data"  # without the boundary that it needs (RFC 7578, 4.1)
    answer = client.generic("POST", reverse("patient_add"), b"name=x", content_type=broken)
    page = answer.content.decode()
    assert (answer.status_code, "This could not be read" in page) == (400, True)


def test_an_unknown_address_leads_on(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    answer = client.get("/no/such/page/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.content.decode()


@pytest.mark.parametrize("role", ["desk", "therapist", "student"])
def test_a_page_for_others_says_so(signed_in: SignedIn, role: str) -> None:
    client, _ = signed_in(role)
    answer = client.get(reverse("settings"))
    assert answer.status_code == 403
    assert "not for your log-in" in answer.content.decode()


def test_the_page_for_faults_needs_nothing_else() -> None:
    """It is shown when the database or the static files may be what failed: no tag, no link to a file."""
    page = (Path(__file__).resolve().parents[3] / "templates/500.html").read_text(encoding="utf-8")
    assert "{%" not in page
    assert "{{" not in page
    assert "<link" not in page
    assert "<script" not in page
