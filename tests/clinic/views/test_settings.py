"""The settings page, as the manager uses it."""

from collections.abc import Callable
from datetime import date, time
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic, Closure, User
from clinic.selectors import clinic_get, hours_of
from tests.clinic.forms.test_settings import GOOD
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]
WEEK = {f"day{weekday}": "08:00-18:00" for weekday in range(5)}


@pytest.fixture
def manager(signed_in: SignedIn) -> Client:
    return signed_in("manager")[0]


def save(client: Client, **changed: Any) -> Any:
    return client.post(reverse("settings"), {**GOOD, **changed})


def test_what_a_change_does_is_shown_before_it_is_saved(manager: Client, clinic: Clinic) -> None:
    answer = save(manager, quiet_from="20:00")
    page = answer.content.decode()
    assert (answer.status_code, clinic_get().quiet_from) == (200, clinic.quiet_from)
    assert "21:00 → 20:00" in page
    assert "move out of them" in page
    assert 'name="confirm"' in page


def test_after_looking_it_is_saved(manager: Client, clinic: Clinic) -> None:
    assert save(manager, quiet_from="20:00", confirm="1").status_code == 302
    assert (clinic_get().quiet_from, clinic_get().plan_version) == (time(20), clinic.plan_version + 1)


def test_a_number_past_its_limit_saves_nothing(manager: Client, clinic: Clinic) -> None:
    answer = save(manager, wear_last_day="9", confirm="1")
    assert (answer.status_code, clinic_get().wear_last_day) == (422, 5)
    assert 'value="9"' in answer.content.decode()


def test_hours_are_saved_and_shown_again(manager: Client, clinic: Clinic) -> None:
    manager.post(reverse("settings_hours"), {**WEEK, "day5": "09:00-12:00"})
    assert hours_of(None)[5] == [(time(9), time(12))]
    assert 'value="09:00-12:00"' in manager.get(reverse("settings")).content.decode()


def test_wrong_hours_change_nothing_and_stay_typed(manager: Client, clinic: Clinic) -> None:
    answer = manager.post(reverse("settings_hours"), {**WEEK, "day0": "from nine"})
    assert (answer.status_code, len(hours_of(None))) == (422, 5)
    assert 'value="from nine"' in answer.content.decode()


def test_a_day_is_closed_and_opened_again(manager: Client, clinic: Clinic) -> None:
    with time_machine.travel(NOW, tick=False):
        manager.force_login(User.objects.get(), backend="django.contrib.auth.backends.ModelBackend")
        manager.post(reverse("settings_closures"), {"day": "2027-03-29", "reason": "Holiday"})
        closure = Closure.objects.get()
        assert closure.day == date(2027, 3, 29)
        assert "Holiday" in manager.get(reverse("settings")).content.decode()
        manager.post(reverse("settings_closure_open", args=[closure.pk]))
    assert Closure.objects.count() == 0


def test_a_day_that_is_past_is_refused(manager: Client, clinic: Clinic) -> None:
    answer = manager.post(reverse("settings_closures"), {"day": "2020-01-01"})
    assert (answer.status_code, Closure.objects.count()) == (422, 0)
