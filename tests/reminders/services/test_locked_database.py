"""A database that somebody else keeps locked: said, nothing lost, and the work goes on by itself afterwards."""

import sqlite3
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from django.db import OperationalError, connection
from pytest_django import Settings

from clinic.models import Clinic
from reminders.models import Message
from reminders.services.running import run_due
from tests.factories import ApplicationFactory

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "sqlite", reason="about SQLite's one write lock"),
]


@pytest.fixture
def somebody_else() -> Iterator[sqlite3.Connection]:
    """A second connection to the same file; ours is told not to wait for it."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout = 20")
    other = sqlite3.connect(str(connection.settings_dict["NAME"]), isolation_level=None)
    yield other
    other.close()
    connection.close()


def test_what_is_due_goes_once_when_the_lock_is_gone(
    somebody_else: sqlite3.Connection, clinic: Clinic, settings: Settings, tmp_path: Path, now: datetime
) -> None:
    settings.OUTBOX_FOLDER = tmp_path
    ApplicationFactory()
    somebody_else.execute("BEGIN IMMEDIATE")
    with pytest.raises(OperationalError, match="locked"):
        run_due(lambda: now)
    assert list(tmp_path.iterdir()) == []
    somebody_else.execute("ROLLBACK")
    run_due(lambda: now)
    run_due(lambda: now)
    assert (Message.objects.filter(state="sent").count(), len(list(tmp_path.iterdir()))) == (1, 1)
