"""In and out: where log-in leads, what it throttles, and what a session outlives."""

from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, User
from tests.factories.clinic import NOW, PASSWORD, PatientFactory, UserFactory

pytestmark = pytest.mark.django_db
WRONG = "not the right phrase"


def log_in(client: Client, user: User, password: str = PASSWORD, **extra: Any) -> Any:
    return client.post(reverse("log_in"), {"username": user.username, "password": password}, **extra)


def is_in(client: Client) -> bool:
    return client.get(reverse("patients")).status_code == 200


def test_a_stranger_is_sent_to_the_log_in_page_and_back(client: Client, clinic: Clinic) -> None:
    assert client.get("/patients/?q=ada").headers["Location"] == "/log-in/?next=/patients/%3Fq%3Dada"
    answer = client.post(
        "/log-in/", {"username": UserFactory().username, "password": PASSWORD, "next": "/patients/?q=ada"}
    )
    assert answer.headers["Location"] == "/patients/?q=ada"


def test_a_stranger_within_a_page_is_told_to_load_it_whole(client: Client) -> None:
    answer = client.get("/patients/", headers={"HX-Request": "true"})
    assert (answer.status_code, answer.headers["HX-Redirect"]) == (204, "/log-in/?next=/patients/")


@pytest.mark.parametrize(
    "wanted",
    [
        "//evil.example", "/\\evil.example", "https:evil.example", "http:///evil.example", "\\\\evil.example",
        "javascript:alert(1)", "https://testserver@evil.example", "https://testserver.evil.example",
    ],
)  # fmt: skip
def test_log_in_never_leads_off_this_site(client: Client, clinic: Clinic, wanted: str) -> None:
    """Backslashes, single slashes and user parts that browsers read as another host (WHATWG URL)."""
    answer = client.post("/log-in/", {"username": UserFactory().username, "password": PASSWORD, "next": wanted})
    assert answer.headers["Location"] == reverse("today")


def test_a_wrong_password_says_so_and_keeps_the_name(client: Client, clinic: Clinic) -> None:
    user = UserFactory()
    page = log_in(client, user, WRONG).content.decode()
    assert "<title>Error: Log in" in page
    assert f'value="{user.username}"' in page
    assert WRONG not in page


def test_guessing_one_name_from_one_address_locks_nobody_else(client: Client, clinic: Clinic) -> None:
    """Neither the therapist elsewhere nor a colleague behind the same router."""
    user, colleague = UserFactory(), UserFactory()
    tries = [log_in(client, user, WRONG, REMOTE_ADDR="203.0.113.9").status_code for _ in range(10)]
    assert tries == [200] * (settings.AXES_FAILURE_LIMIT - 1) + [429] * (11 - settings.AXES_FAILURE_LIMIT)
    assert log_in(client, user, REMOTE_ADDR="203.0.113.9").status_code == 429
    assert log_in(Client(), user, REMOTE_ADDR="203.0.113.10").status_code == 302
    assert log_in(Client(), colleague, REMOTE_ADDR="203.0.113.9").status_code == 302


def test_a_forged_address_does_not_start_the_count_afresh(client: Client, clinic: Clinic) -> None:
    user = UserFactory()
    for number in range(settings.AXES_FAILURE_LIMIT):
        last = log_in(client, user, WRONG, headers={"X-Forwarded-For": f"198.51.100.{number}"})
    assert last.status_code == 429


def test_the_lock_ends_by_itself_when_it_said(client: Client, clinic: Clinic) -> None:
    user = UserFactory()
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(settings.AXES_FAILURE_LIMIT):
            locked = log_in(client, user, WRONG)
        assert "wait 15 minutes" in locked.content.decode()
        clock.shift(14 * 60)
        assert log_in(client, user).status_code == 429
        clock.shift(15 * 60 + 1)
        assert log_in(client, user).status_code == 302


def test_the_session_key_changes_at_log_in(client: Client, clinic: Clinic) -> None:
    planted = client.session
    planted["basket"] = "kept by a stranger"
    planted.save()
    before = planted.session_key
    log_in(client, UserFactory())
    first = client.session.session_key
    assert client.cookies[settings.SESSION_COOKIE_NAME].value == first
    client.post(reverse("log_out"))
    log_in(client, UserFactory())
    assert len({before, first, client.session.session_key}) == 3


def test_a_copied_cookie_is_worth_nothing_after_log_out(client: Client, clinic: Clinic) -> None:
    log_in(client, UserFactory())
    copy = Client()
    copy.cookies.load({settings.SESSION_COOKIE_NAME: client.cookies[settings.SESSION_COOKIE_NAME].value})
    assert is_in(copy)
    client.post(reverse("log_out"))
    assert not is_in(copy)


def test_a_new_password_signs_the_other_tablet_out(client: Client, clinic: Clinic) -> None:
    user, other = UserFactory(), Client()
    log_in(client, user)
    log_in(other, user)
    user.set_password("another long enough phrase")
    user.save()
    assert (is_in(client), is_in(other)) == (False, False)


def test_somebody_who_left_is_out_at_once(client: Client, clinic: Clinic) -> None:
    user = UserFactory()
    log_in(client, user)
    assert is_in(client)
    get_user_model().objects.filter(pk=user.pk).update(is_active=False)
    assert not is_in(client)


def test_opening_the_log_out_address_logs_nobody_out(client: Client, clinic: Clinic) -> None:
    log_in(client, UserFactory())
    assert (client.get(reverse("log_out")).status_code, is_in(client)) == (405, True)


def test_after_log_out_back_shows_nothing(client: Client, clinic: Clinic) -> None:
    """Pages are never kept by the browser, and at log-out it is told to forget (W3C Clear Site Data)."""
    PatientFactory(full_name="Ada Quill")
    log_in(client, UserFactory())
    assert client.get(reverse("patients")).headers["Cache-Control"] == "no-store, private"
    answer = client.post(reverse("log_out"))
    assert (answer.status_code, answer.headers["Clear-Site-Data"]) == (302, '"cache", "storage"')
    assert not is_in(client)


def test_passwords_never_come_back_in_a_page_or_the_log(
    client: Client, clinic: Clinic, caplog: pytest.LogCaptureFixture
) -> None:
    page = log_in(client, UserFactory(), "a secret nobody may see")
    assert "a secret nobody may see" not in page.content.decode() + caplog.text


def test_a_form_with_the_wrong_host_is_refused(client: Client, clinic: Clinic) -> None:
    """Links are built from the configured address; a forged Host gets nothing at all."""
    assert client.get("/log-in/", headers={"Host": "evil.example"}).status_code == 400
