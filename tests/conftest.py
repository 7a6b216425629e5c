"""What every test may ask for."""

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection
from django.db.backends.sqlite3.base import DatabaseWrapper as SQLiteDatabase
from django.test import Client
from hypothesis import settings as property_settings

from clinic.models import Clinic, OpeningHours, User
from clinic.services.gate import GATE
from tests.factories.clinic import NOW, UserFactory

# An example that takes long on a busy machine tells nothing about the program: speed is measured elsewhere.
property_settings.register_profile("unhurried", property_settings(deadline=None))
property_settings.load_profile("unhurried")


@pytest.fixture(autouse=True, scope="session")
def _tests_that_commit_can_empty_the_event_table() -> Iterator[None]:
    """Django empties the tables after such a test, which the table of events refuses.

    On SQLite row by row: a door lets all of them out. On PostgreSQL at once: its owner switches the trigger off.
    """
    with pytest.MonkeyPatch.context() as patch:
        _flush_between(
            patch,
            SQLiteDatabase.ops_class,
            before=["INSERT INTO clinic_eventdoor (before) VALUES ('9999-01-01 00:00:00')", "DELETE FROM clinic_event"],
        )
        if connection.vendor == "postgresql":
            trigger = "TRIGGER event_final_truncate"
            _flush_between(
                patch,
                type(connection.ops),
                before=[f"ALTER TABLE clinic_event DISABLE {trigger}"],
                after=[f"ALTER TABLE clinic_event ENABLE {trigger}"],
            )
        yield


def _flush_between(
    patch: pytest.MonkeyPatch, operations: Any, *, before: Sequence[str] = (), after: Sequence[str] = ()
) -> None:
    flush = operations.sql_flush

    def sql_flush(self: Any, *args: Any, **options: Any) -> list[str]:
        return [*before, *flush(self, *args, **options), *after]

    patch.setattr(operations, "sql_flush", sql_flush)


@pytest.fixture(autouse=True)
def _no_guesses_from_the_test_before() -> None:
    cache.clear()
    GATE.forget()


@pytest.fixture
def now() -> datetime:
    """The tests' moment: Wednesday 10 March 2027, 10:00 in New York."""
    return NOW


@pytest.fixture
def clinic(db: None) -> Clinic:
    """An invented clinic, open Monday to Friday 08:00-18:00, every required setting made."""
    row = Clinic(
        name="Harbour Lane Clinic",
        telephone="(212) 555-0100",
        emergency_number="911",
        out_of_hours_advice="Outside opening hours call (212) 555-0101.",
        duty_address="duty@example.org",
    )
    row.save()
    for weekday in range(5):
        OpeningHours.objects.create(weekday=weekday, opens="08:00", closes="18:00")
    return row


@pytest.fixture
def signed_in(client: Client, clinic: Clinic) -> Callable[..., tuple[Client, User]]:
    """signed_in("therapist") gives a client and its user; roles: desk, manager, student, therapist."""

    def make(role: str = "therapist") -> tuple[Client, User]:
        user = UserFactory() if role == "therapist" else UserFactory(**{role: True})
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client, user

    return make
