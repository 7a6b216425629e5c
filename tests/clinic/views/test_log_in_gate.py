"""Ten thousand wrong log-ins a minute: refused unread and for nothing, and whoever works here still gets in."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
import time_machine
from django.conf import settings as running
from django.contrib.auth import hashers
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django import Settings

from clinic.middleware import LogInGate
from clinic.models import Clinic, User
from clinic.rules.gate import ALL_STRANGERS, KNOWN_DEVICE, NETWORK
from clinic.services.gate import GATE
from clinic.views.devices import asker
from tests.clinic.factor import factor_for
from tests.factories.clinic import NOW, PASSWORD, UserFactory

pytestmark = pytest.mark.django_db
WRONG = "not the right phrase"
HERE = "203.0.113.9"


@pytest.fixture(autouse=True)
def at_one_moment() -> Any:
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


def log_in(client: Client, name: str, password: str = PASSWORD, *, at: str = HERE, **extra: Any) -> Any:
    return client.post(reverse("log_in"), {"username": name, "password": password}, REMOTE_ADDR=at, **extra)


def guess(times: int, *, at: Callable[[int], str] = lambda number: HERE, **extra: Any) -> list[int]:
    """A name of its own each time, from a browser without any cookie."""
    return [log_in(Client(), f"guest{n}", WRONG, at=at(n), **extra).status_code for n in range(times)]


def words(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


@pytest.fixture
def thea(clinic: Clinic) -> User:
    user: User = UserFactory(username="thea")
    return user


def test_many_names_from_one_address_are_looked_at_twenty_times(thea: User) -> None:
    assert guess(NETWORK.at_once + 30) == [200] * NETWORK.at_once + [429] * 30


def test_neighbours_in_one_network_are_counted_together(thea: User) -> None:
    found = guess(NETWORK.at_once + 10, at=lambda n: f"203.0.113.{n}")
    assert found == [200] * NETWORK.at_once + [429] * 10


def test_a_guess_refused_costs_no_query_no_hash_and_no_session(thea: User, monkeypatch: pytest.MonkeyPatch) -> None:
    guess(NETWORK.at_once)
    log_in(Client(), "guest", WRONG)  # makes the page, once
    monkeypatch.setattr(hashers, "check_password", lambda *args, **kwargs: pytest.fail("a password was looked at"))
    client = Client()
    with CaptureQueriesContext(
        connection,
    ) as queries:
        answer = log_in(client, thea.username)
    assert (answer.status_code, len(queries), Session.objects.count(), dict(client.cookies)) == (429, 0, 0, {})


def test_the_refusal_says_what_to_do_and_when(thea: User) -> None:
    guess(NETWORK.at_once)
    answer = log_in(Client(), thea.username)
    assert answer.headers["Retry-After"] == "15"
    assert answer.headers["Cache-Control"] == "no-store, private"
    assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
    assert "Too many wrong log-ins: wait 1 minute<" in words(answer)
    assert (
        "came from the network that you are in. Yours was not looked at. No name and no password is locked."
        in words(answer)
    )
    assert "Use a browser in which somebody of your clinic has logged in before." in words(answer)
    assert thea.username not in words(answer)


def test_who_logged_in_here_before_gets_in_from_the_very_same_address(thea: User) -> None:
    tablet = Client()
    log_in(tablet, thea.username)
    tablet.post(reverse("log_out"))
    assert set(guess(200)) == {200, 429}
    assert log_in(Client(), thea.username).status_code == 429
    assert log_in(tablet, thea.username).status_code == 302


def test_a_colleague_gets_in_on_that_tablet_too(thea: User) -> None:
    tablet = Client()
    log_in(tablet, thea.username)
    tablet.post(reverse("log_out"))
    guess(200)
    assert log_in(tablet, UserFactory().username).status_code == 302


def test_guesses_of_her_own_name_from_her_own_address_do_not_lock_her_tablet(thea: User) -> None:
    """The stranger in the waiting room uses the clinic's Wi-Fi and knows her name."""
    tablet = Client()
    log_in(tablet, thea.username)
    tablet.post(reverse("log_out"))
    for _ in range(running.AXES_FAILURE_LIMIT):
        log_in(Client(), thea.username, WRONG)
    assert log_in(Client(), thea.username).status_code == 429
    assert log_in(tablet, thea.username).status_code == 302


def test_a_known_device_guesses_one_name_no_more_than_a_strange_one(thea: User) -> None:
    tablet = Client()
    log_in(tablet, UserFactory().username)
    tablet.post(reverse("log_out"))
    tries = [log_in(tablet, thea.username, WRONG).status_code for _ in range(running.AXES_FAILURE_LIMIT)]
    assert tries == [200] * (running.AXES_FAILURE_LIMIT - 1) + [429]
    assert log_in(tablet, thea.username, at="198.51.100.1").status_code == 429  # carried elsewhere, too
    assert log_in(Client(), thea.username).status_code == 302


def test_a_known_device_that_guesses_many_names_waits_by_itself(thea: User) -> None:
    tablet = Client()
    log_in(tablet, thea.username)
    tablet.post(reverse("log_out"))
    tries = [log_in(tablet, f"guest{n}", WRONG) for n in range(KNOWN_DEVICE.at_once + 1)]
    assert tries[-1].status_code == 429
    assert "Too many wrong log-ins on this device: wait 1 minute<" in words(tries[-1])
    assert log_in(Client(), thea.username).status_code == 302


def test_guesses_from_everywhere_leave_the_known_devices_alone(thea: User) -> None:
    tablet = Client()
    log_in(tablet, thea.username)
    tablet.post(reverse("log_out"))
    found = guess(ALL_STRANGERS.at_once + 20, at=lambda n: f"10.0.{n}.1")
    assert found == [200] * ALL_STRANGERS.at_once + [429] * 20
    refused = log_in(Client(), thea.username, at="198.51.100.1")
    assert (refused.status_code, "somebody is guessing" in words(refused)) == (429, True)
    assert log_in(tablet, thea.username).status_code == 302


def test_nobody_is_locked_out_for_good(thea: User, at_one_moment: Any) -> None:
    guess(500)
    assert log_in(Client(), thea.username).status_code == 429
    at_one_moment.shift(15)
    assert log_in(Client(), thea.username).status_code == 302


def test_a_clinics_first_morning_is_not_an_attack(clinic: Clinic) -> None:
    """Forty people behind one router, none of their devices known, a third of whom mistype once."""
    for number in range(40):
        name = UserFactory().username
        if number % 3 == 0:
            assert log_in(Client(), name, WRONG).status_code == 200
        assert log_in(Client(), name).status_code == 302


@pytest.mark.parametrize("header", ["X-Forwarded-For", "X-Real-IP", "Forwarded", "CF-Connecting-IP"])
def test_a_header_made_up_is_no_other_network(thea: User, header: str) -> None:
    found = [
        log_in(Client(), f"guest{n}", WRONG, headers={header: f"198.51.{n}.1"}).status_code
        for n in range(NETWORK.at_once + 5)
    ]
    assert found == [200] * NETWORK.at_once + [429] * 5


def test_behind_a_proxy_the_networks_are_those_of_the_people(thea: User, settings: Settings) -> None:
    settings.PROXY_COUNT = 1
    for number in range(NETWORK.at_once + 5):  # the first entry is made up, the last is what the proxy saw
        last = log_in(Client(), f"guest{number}", WRONG, headers={"X-Forwarded-For": f"10.{number}.0.1, 198.51.100.7"})
    assert last.status_code == 429
    assert log_in(Client(), thea.username, headers={"X-Forwarded-For": "198.51.100.8"}).status_code == 429
    assert log_in(Client(), thea.username, headers={"X-Forwarded-For": "192.0.2.1"}).status_code == 302


@pytest.mark.parametrize("made_up", ["tablet", "tablet:1abcde:AAAA", "", "x" * 4000])
def test_a_cookie_made_up_makes_no_device_known(thea: User, made_up: str) -> None:
    guess(NETWORK.at_once)
    client = Client()
    client.cookies[running.DEVICE_COOKIE_NAME] = made_up
    assert log_in(client, thea.username).status_code == 429


def test_the_devices_cookie_holds_no_person_and_stays(thea: User) -> None:
    tablet = Client()
    log_in(tablet, thea.username)
    cookie = tablet.cookies[running.DEVICE_COOKIE_NAME]
    first = cookie.value.split(":")[0]
    assert (len(first), cookie["httponly"], cookie["samesite"], cookie["max-age"]) == (22, True, "Lax", 400 * 86400)
    tablet.post(reverse("log_out"))
    log_in(tablet, UserFactory().username)
    assert tablet.cookies[running.DEVICE_COOKIE_NAME].value.split(":")[0] == first
    other = Client()
    log_in(other, thea.username)
    assert other.cookies[running.DEVICE_COOKIE_NAME].value.split(":")[0] != first


def test_a_right_password_alone_makes_no_device_known(thea: User) -> None:
    """Where a code is asked after it, whoever has no code stays a stranger."""
    factor_for(thea)
    client = Client()
    assert log_in(client, thea.username).headers["Location"] == reverse("log_in_code")
    assert running.DEVICE_COOKIE_NAME not in client.cookies


def test_wrong_passwords_of_a_known_device_are_counted_as_an_address_nobody_has(rf: Any, thea: User) -> None:
    """RFC 4193: fd00::/8 is routed nowhere, so that no stranger can come from there."""
    tablet = Client()
    log_in(tablet, thea.username)
    request = rf.post(reverse("log_in"), REMOTE_ADDR=HERE)
    assert asker(request) == HERE
    request = rf.post(reverse("log_in"), REMOTE_ADDR=HERE)
    request.COOKIES[running.DEVICE_COOKIE_NAME] = tablet.cookies[running.DEVICE_COOKIE_NAME].value
    assert str(asker(request)).startswith("fd")


def test_reading_the_page_and_every_other_address_stay_open(thea: User) -> None:
    guess(100)
    assert Client().get(reverse("log_in"), REMOTE_ADDR=HERE).status_code == 200
    assert Client().get(reverse("patients"), REMOTE_ADDR=HERE).status_code == 302


def test_who_sends_slowly_holds_no_place(thea: User, monkeypatch: pytest.MonkeyPatch) -> None:
    """A body that stops half way: the line breaks while it is read, and nobody was counted or kept waiting for it."""
    entered: list[object] = []
    monkeypatch.setattr(GATE, "enter", lambda **who: entered.append(who))

    def broken(*_: object) -> bytes:
        raise OSError("the line was cut")

    stalled = RequestFactory().post(reverse("log_in"), {"username": "thea"})
    cut = SimpleNamespace(read=broken, close=lambda: None)
    monkeypatch.setattr(stalled, "_stream", cut)
    assert LogInGate(lambda request: pytest.fail("was let in"))(stalled).status_code == 400
    assert entered == []


def test_a_new_tablet_of_the_clinic_gets_in_while_a_thousand_networks_guess(thea: User) -> None:
    desk = Client()
    log_in(desk, thea.username)
    assert set(guess(ALL_STRANGERS.at_once + 20, at=lambda n: f"198.51.{n}.1")) == {200, 429}
    assert log_in(Client(), thea.username, at="192.0.2.1").status_code == 429
    assert log_in(Client(), thea.username).status_code == 302


def test_a_right_password_without_its_code_makes_no_network_the_clinic_s(thea: User) -> None:
    factor_for(thea)
    assert log_in(Client(), thea.username, at="192.0.2.1").status_code == 302
    guess(ALL_STRANGERS.at_once + 20, at=lambda n: f"198.51.{n}.1")
    assert log_in(Client(), thea.username, at="192.0.2.1").status_code == 429
