"""Where somebody is logged in, the end of it, the password asked again, and what the event log keeps of attempts."""

import logging
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from axes.models import AccessAttempt
from django.conf import settings as running
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from clinic.logs import without_private_words
from clinic.models import Event, User
from tests.clinic.factor import code_at, factor_for
from tests.factories.clinic import NOW, PASSWORD, UserFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clinic")]
SignedIn = Callable[..., tuple[Client, User]]
TABLET = "Mozilla/5.0 (iPad; CPU OS 17_4 like Mac OS X) AppleWebKit/605.1.15 Version/17.4 Mobile Safari/604.1"
DESK = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
WRONG = "not the right phrase"


def log_in(user: User, agent: str = "", password: str = PASSWORD, **more: Any) -> Client:
    client = Client(headers={"User-Agent": agent})
    client.post(reverse("log_in"), {"username": user.username, "password": password}, **more)
    return client


def is_in(client: Client) -> bool:
    return client.get(reverse("patients")).status_code == 200


def verbs(user: User) -> list[str]:
    return list(Event.objects.filter(subject_type="user", subject_id=str(user.pk)).values_list("verb", flat=True))


class TestWhereOneIsLoggedIn:
    def test_each_place_is_shown_with_device_address_and_hour(self) -> None:
        user = UserFactory()
        with time_machine.travel(NOW, tick=False) as clock:
            log_in(user, TABLET, REMOTE_ADDR="203.0.113.9")
            log_in(UserFactory(), TABLET, REMOTE_ADDR="203.0.113.77")
            clock.shift(timedelta(hours=1))
            desk = log_in(user, DESK)
            page = " ".join(desk.get(reverse("account_log_ins")).content.decode().split())
        assert "Firefox on Windows: this one" in page
        assert "End: Safari on iPad" in page
        assert "from 203.0.113.9" in page
        assert "203.0.113.77" not in page

    def test_a_log_in_that_ended_with_the_day_is_not_listed(self, settings: Settings) -> None:
        """Its row in the store lives on: each touch put that off."""
        settings.SESSION_HOURS, user = 12, UserFactory()
        with time_machine.travel(NOW, tick=False) as clock:
            tablet = log_in(user, TABLET)
            for _ in range(25):
                clock.shift(timedelta(minutes=26))
                assert is_in(tablet)
            clock.shift(timedelta(hours=2))
            page = log_in(user, DESK).get(reverse("account_log_ins")).content.decode()
        assert "Safari on iPad" not in page

    def test_no_page_holds_what_would_open_the_other_log_in(self) -> None:
        user = UserFactory()
        tablet, desk = log_in(user, TABLET), log_in(user, DESK)
        page = desk.get(reverse("account_log_ins")).content.decode()
        assert str(tablet.session.session_key) not in page

    def test_whoever_writes_the_password_ends_the_others(self) -> None:
        user = UserFactory()
        tablet, desk = log_in(user, TABLET), log_in(user, DESK)
        names = [one.name for one in desk.get(reverse("account_log_ins")).context["log_ins"] if not one.own]
        wrong = desk.post(reverse("account_log_ins"), {"which": names, "password": WRONG})
        assert (wrong.status_code, is_in(tablet)) == (422, True)
        assert "That is not your password" in wrong.content.decode()
        done = desk.post(reverse("account_log_ins"), {"which": names, "password": PASSWORD})
        assert (done.status_code, is_in(tablet), is_in(desk)) == (302, False, True)
        assert verbs(user).count("staff.log_ins_ended") == 1

    def test_nothing_ticked_ends_nothing_and_says_so(self) -> None:
        user = UserFactory()
        tablet, desk = log_in(user, TABLET), log_in(user, DESK)
        answer = desk.post(reverse("account_log_ins"), {"password": PASSWORD})
        assert (answer.status_code, is_in(tablet)) == (422, True)
        assert "Tick the log-ins that are to end." in answer.content.decode()

    def test_nobody_ends_somebody_elses(self) -> None:
        other = log_in(UserFactory(), TABLET)
        user = UserFactory()
        desk = log_in(user, DESK)
        theirs = other.get(reverse("account_log_ins")).context["log_ins"][0].name
        desk.post(reverse("account_log_ins"), {"which": [theirs], "password": PASSWORD})
        assert is_in(other)

    def test_a_manager_ends_those_of_a_stolen_tablet(self, signed_in: SignedIn) -> None:
        manager, _ = signed_in("manager")
        user = UserFactory()
        tablet = log_in(user, TABLET)
        answer = manager.post(reverse("staff_log_out", args=[user.pk]), follow=True)
        assert "1 log-in ended." in answer.content.decode()
        assert not is_in(tablet)


class TestThePasswordAgain:
    def test_new_recovery_codes_need_it(self) -> None:
        with time_machine.travel(NOW, tick=False):
            user = UserFactory()
            device, before = factor_for(user)
            client = log_in(user)
            client.post(reverse("log_in_code"), {"code": code_at(device, NOW)})
            wrong = client.post(reverse("account_codes"), {"password": WRONG})
            assert wrong.status_code == 422
            made = client.post(reverse("account_codes"), {"password": PASSWORD})
        assert made.status_code == 200
        assert len(made.context["codes"]) == 10
        assert set(made.context["codes"]).isdisjoint(before)

    def test_a_second_factor_is_set_up_right_after_the_log_in_without_it_and_later_with_it(self) -> None:
        """A tablet left awake must not be given somebody else's telephone as its second factor."""
        with time_machine.travel(NOW, tick=False) as clock:
            client = log_in(UserFactory())
            assert "Your password" not in client.get(reverse("account_factor")).content.decode()
            clock.shift(timedelta(minutes=11))
            page = client.get(reverse("account_factor"))
            assert "Your password" in page.content.decode()
            answer = client.post(reverse("account_factor"), {"code": "123456", "password": WRONG})
        assert answer.status_code == 422
        assert "That is not your password" in answer.content.decode()

    def test_guessing_it_there_is_throttled_as_at_the_log_in(self) -> None:
        client = log_in(UserFactory())
        tries = [
            client.post(reverse("account_password"), {"old_password": WRONG, "new_password": "x", "again": "x"})
            for _ in range(running.AXES_FAILURE_LIMIT + 1)
        ]
        assert tries[-1].status_code == 429


def test_no_table_keeps_what_was_typed_with_a_wrong_password() -> None:
    """A slip in the old password, and the new one as it is going to be."""
    typed = {"old_password": "one slip of mine", "new_password": "violet kettle on the roof"}
    log_in(UserFactory()).post(reverse("account_password"), {**typed, "again": typed["new_password"], "code": "493817"})
    kept = str(list(AccessAttempt.objects.values()))
    assert [word for word in (*typed.values(), "493817") if word in kept] == []
    assert AccessAttempt.objects.count() == 1


class TestWhatTheEventLogKeeps:
    def test_a_wrong_password_with_the_place_it_came_from(self) -> None:
        user = UserFactory()
        log_in(user, password=WRONG, REMOTE_ADDR="203.0.113.9")
        event = Event.objects.get(verb="staff.log_in_refused")
        assert (event.subject_id, event.actor, event.origin) == (str(user.pk), None, "203.0.113.9")

    def test_a_name_of_nobody_is_not_kept(self, caplog: pytest.LogCaptureFixture) -> None:
        """Whoever types the password into the wrong field must not find it in a table or a log."""
        with caplog.at_level(logging.INFO):
            Client().post(reverse("log_in"), {"username": "my secret phrase", "password": "oops"})
        assert not Event.objects.filter(verb="staff.log_in_refused").exists()
        told = "\n".join(without_private_words(record.getMessage()) for record in caplog.records)
        assert "Log-in refused, from 127.0.0.1" in told
        assert "my secret phrase" not in told

    def test_a_held_up_name_fills_no_table(self, caplog: pytest.LogCaptureFixture) -> None:
        user = UserFactory()
        for _ in range(running.AXES_FAILURE_LIMIT + 20):
            log_in(user, password=WRONG)
        assert verbs(user).count("staff.log_in_refused") <= running.AXES_FAILURE_LIMIT
        assert "Log-in held up after too many wrong passwords" in caplog.text
        assert user.username not in caplog.text

    def test_log_in_and_log_out_and_by_which_factors(self) -> None:
        user = UserFactory()
        client = log_in(user)
        client.post(reverse("log_out"))
        assert Event.objects.get(verb="staff.logged_in").fields == ["password"]
        assert verbs(user)[:1] == ["staff.logged_out"]

    def test_a_page_that_is_not_theirs_by_its_name(self, signed_in: SignedIn, caplog: pytest.LogCaptureFixture) -> None:
        client, user = signed_in("desk")
        assert client.get(reverse("events")).status_code == 403
        event = Event.objects.get(verb="staff.page_refused")
        assert (event.actor, event.fields) == (user, ["events"])
        assert f"Page events refused to user {user.pk}" in caplog.text
        assert user.full_name not in caplog.text

    def test_behind_a_proxy_the_log_in_came_from_the_browser(self, settings: Any) -> None:
        settings.PROXY_COUNT = 1
        user = UserFactory()
        client = Client(headers={"X-Forwarded-For": "198.51.100.7, 203.0.113.9"})
        client.post(reverse("log_in"), {"username": user.username, "password": PASSWORD}, REMOTE_ADDR="10.0.0.1")
        assert Event.objects.get(verb="staff.logged_in").origin == "203.0.113.9"
