"""Ready means: the database answers, migrations are done, and nothing due is waiting."""

import socket
from datetime import datetime, timedelta

import pytest
from django.db import OperationalError, connection
from django.test import Client
from pytest_django import Settings

from reminders.models import Message
from reminders.services import health
from reminders.services.health import LATE_AFTER, health_now, late_since
from tests.factories import MessageFactory

pytestmark = pytest.mark.django_db


def test_an_empty_clinic_is_ready(now: datetime) -> None:
    assert health_now(now=now).as_dict() == {
        "ready": True,
        "database": "ok",
        "migrations": "ok",
        "wake_ups": "not used",
        "oldest_due_seconds": None,
    }


@pytest.mark.parametrize(("late", "ready"), [(LATE_AFTER, True), (LATE_AFTER + timedelta(seconds=1), False)])
def test_the_oldest_due_message_decides(now: datetime, late: timedelta, ready: bool) -> None:
    MessageFactory(planned_for=now - late)
    MessageFactory(planned_for=now - timedelta(seconds=5))
    state = health_now(now=now)
    assert (state.oldest_due_seconds, state.good) == (int(late.total_seconds()), ready)


@pytest.mark.parametrize("state", ["sent", "dropped", "missed", "failed", "uncertain"])
def test_what_is_settled_does_not_count(now: datetime, state: str) -> None:
    MessageFactory(planned_for=now - timedelta(hours=1), state=state)
    assert (health_now(now=now).good, late_since(now=now)) == (True, None)


@pytest.mark.parametrize("state", [Message.State.CLAIMED, Message.State.SENDING])
def test_a_message_that_hangs_half_way_counts(now: datetime, state: str) -> None:
    MessageFactory(planned_for=now - timedelta(hours=1), state=state)
    assert (health_now(now=now).good, late_since(now=now)) == (False, now - timedelta(hours=1))


def test_a_message_of_the_future_is_not_late(now: datetime) -> None:
    MessageFactory(planned_for=now + timedelta(seconds=1))
    assert health_now(now=now).oldest_due_seconds is None


def test_a_database_that_is_gone_is_said_not_raised(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(*args: object) -> None:
        raise OperationalError("unable to open database file")

    monkeypatch.setattr(health, "MigrationExecutor", gone)
    state = health_now(now=now)
    assert (state.database, state.good) == ("does not answer", False)


def test_migrations_that_were_not_run_are_said(now: datetime) -> None:
    with connection.cursor() as cursor:
        cursor.execute("delete from django_migrations where app = 'reminders'")
    state = health_now(now=now)
    assert (state.migrations, state.good) == ("run manage.py migrate", False)


def test_a_stopped_redis_is_said_and_logged(
    now: datetime, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        settings.REDIS_URL = f"redis://127.0.0.1:{unused.getsockname()[1]}/0"
    assert health_now(now=now).wake_ups == "does not answer"
    assert "Redis does not answer" in caplog.text


def test_the_pages_answer_strangers_without_details(client: Client) -> None:
    assert client.get("/health/").json() == {"process": "ok"}
    answer = client.get("/health/ready/")
    assert (answer.status_code, set(answer.json())) == (
        200,
        {"ready", "database", "migrations", "wake_ups", "oldest_due_seconds"},
    )


def test_a_late_message_turns_the_ready_page_to_503(client: Client) -> None:
    MessageFactory(planned_for=datetime.fromisoformat("2020-01-01T00:00:00Z"))
    assert client.get("/health/ready/").status_code == 503
