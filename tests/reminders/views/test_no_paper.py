"""Without the system's library for paper every sheet says what to do, to staff and to patients."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client

from clinic.models import Clinic, User
from reminders.services.links import link_token
from reminders.sheets import printing
from reminders.sheets.printing import PaperNotAvailable
from reminders.views.no_paper import PACKAGES
from taping.models import Application

SignedIn = Callable[..., tuple[Client, User]]


@pytest.fixture(autouse=True)
def missing(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise PaperNotAvailable("The system library Pango is missing; the README says how to install it.")

    monkeypatch.setattr(printing, "_weasyprint", fail)
    printing._fetcher.cache_clear()


def test_staff_read_what_to_install(signed_in: SignedIn, tape: Application) -> None:
    client, _ = signed_in("therapist")
    for address in (f"/applications/{tape.pk}/sheet/", f"/applications/{tape.pk}/record/"):
        answer = client.get(address)
        page = answer.content.decode()
        assert (answer.status_code, answer.headers["Content-Type"]) == (503, "text/html; charset=utf-8")
        assert "This computer cannot make sheets yet" in page
        assert f"apt-get install {' '.join(PACKAGES)}" in page


@pytest.mark.parametrize(("key", "said"), [("en", "The same steps are on your page."), ("ar", "الخطوات نفسها")])
def test_a_patient_is_led_back_to_the_page_in_their_language(
    client: Client, clinic: Clinic, tape: Application, token: str, key: str, said: str
) -> None:
    clinic.languages = {"ar": {"name": "Nur Halloran", "on": "2027-03-01"}}
    clinic.save()
    type(tape.patient).objects.update(language=key)
    answer = client.get(f"/t/{token}/paper/")
    page = answer.content.decode()
    assert answer.status_code == 503
    assert said in page
    assert f'href="/t/{link_token(tape)}/"' in page
    assert "apt-get" not in page


def test_the_readme_names_the_same_packages() -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    assert all(package in readme for package in PACKAGES)
