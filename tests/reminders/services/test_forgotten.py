"""A database server that dies forgets marks: what was claimed before may have gone, and is not simply sent again."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import connection

from clinic.models import Patient
from reminders.models import Message
from reminders.services import queueing
from reminders.services.marks import Sent, mark
from reminders.services.queueing import FORGOTTEN, LEASE, claim, forgot_at
from taping.models import Application
from tests.factories import ApplicationFactory, MessageFactory
from tests.reminders.services.conftest import Ways

pytestmark = pytest.mark.django_db

SECOND = timedelta(seconds=1)


def due(**values: Any) -> Message:
    row: Message = MessageFactory(**values)
    Application.objects.update(planned_version=1)
    Patient.objects.update(planned_version=1)
    return row


def other(now: datetime) -> Message:
    return due(application=ApplicationFactory(ended_at=now, ended_how="off"), kind="skin_follow_up", safety=False)


def state(row: Message) -> tuple[str, str]:
    row.refresh_from_db()
    return row.state, row.why


@pytest.fixture
def died(monkeypatch: pytest.MonkeyPatch, now: datetime) -> None:
    """The server dies a second after now, and with it what was marked since the claim."""
    monkeypatch.setattr(queueing, "forgot_at", lambda: now + SECOND)


@pytest.mark.usefixtures("died")
def test_a_message_that_may_have_gone_waits_for_a_person(ways: Ways, now: datetime) -> None:
    row = other(now)
    claim(now)
    ways.run(now + LEASE)
    assert (state(row), ways.sms.tried) == (("uncertain", FORGOTTEN), [])


@pytest.mark.usefixtures("died")
def test_a_safety_message_that_may_have_gone_goes_once_more_and_no_oftener(ways: Ways, now: datetime) -> None:
    row = due()
    claim(now)
    ways.run(now + LEASE)
    assert (state(row)[0], ways.sms.keys) == ("sent", [row.key])
    Message.objects.update(state="claimed", lease_until=now + LEASE, repeats=1)
    ways.run(now + LEASE)
    assert (state(row)[0], ways.sms.keys) == ("uncertain", [row.key])


@pytest.mark.usefixtures("died")
def test_the_first_of_several_that_were_said_together_leads_again(ways: Ways, now: datetime) -> None:
    first = due(planned_for=now - 2 * SECOND)
    second = due(application=ApplicationFactory(patient=first.patient, side="right"), planned_for=now - 3 * SECOND)
    claim(now)
    ways.run(now + LEASE)
    assert (state(first)[0], state(second)[0], ways.sms.keys) == ("sent", "sent", [second.key])


@pytest.mark.usefixtures("died")
def test_what_was_claimed_after_the_server_came_up_was_not_sent(ways: Ways, now: datetime) -> None:
    row = other(now)
    later = now + timedelta(seconds=30)
    claim(later)
    ways.run(later + LEASE)
    assert (state(row)[0], len(ways.sms.tried)) == ("sent", 1)


def test_a_worker_that_outlived_the_server_still_writes_down_what_it_sent(ways: Ways, now: datetime) -> None:
    row = other(now)
    token: UUID = claim(now)[0]
    mark(token, sent=Sent([row.pk], "Look at the skin", "gw-1"), taken=None)
    assert state(row)[0] == "sent"


def test_when_the_server_last_came_up() -> None:
    """Asked of the server itself. SQLite has none."""
    found = forgot_at()
    if connection.vendor == "sqlite":
        assert found is None
    else:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_postmaster_start_time()")
            began = cursor.fetchone()[0]
        assert found is not None
        assert began <= found <= datetime.now(UTC)
