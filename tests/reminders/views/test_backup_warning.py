"""A manager's Today says when the last good backup is old."""

from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from pytest_django import Settings

from clinic.models import Backup, User
from tests.factories.clinic import NOW

SignedIn = Callable[..., tuple[Client, User]]


def today(client: Client) -> str:
    with time_machine.travel(NOW, tick=False):
        return client.get("/").content.decode()


def made(days_ago: float) -> None:
    Backup.objects.create(made_at=NOW - timedelta(days=days_ago), name="x.backup", size=1, rows=1, encrypted=False)


@pytest.mark.parametrize(("days_ago", "warned"), [(1.9, False), (2.1, True)])
def test_after_the_days_of_the_setting(signed_in: SignedIn, settings: Settings, days_ago: float, warned: bool) -> None:
    settings.BACKUP_WARN_DAYS = 2
    client, _ = signed_in("manager")
    made(30)
    made(days_ago)
    assert ("The last backup is of" in today(client)) is warned


@pytest.mark.parametrize(("days_old", "warned"), [(1, False), (3, True)])
def test_a_new_clinic_has_the_same_days(signed_in: SignedIn, days_old: int, warned: bool) -> None:
    client, user = signed_in("manager")
    User.objects.filter(pk=user.pk).update(created_at=NOW - timedelta(days=days_old))
    assert ("No backup has been made yet" in today(client)) is warned


@pytest.mark.parametrize("role", ["desk", "therapist", "student"])
def test_nobody_else_is_told(signed_in: SignedIn, role: str) -> None:
    client, _ = signed_in(role)
    made(90)
    assert "last backup" not in today(client)
