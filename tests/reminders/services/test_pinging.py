"""The call to an outside watcher: after a good pass, once a minute, and never in anybody's way."""

import logging
import socket
import threading
from collections.abc import Iterator
from datetime import datetime, timedelta
from threading import Thread

import pytest
from pytest_django import Settings

from clinic.models import Clinic
from reminders.models import Lease
from reminders.services import pinging
from reminders.services.pinging import ping
from reminders.services.running import RunReport
from tests.factories import MessageFactory
from tests.reminders.transports.conftest import desk, gateway_port

__all__ = ["desk", "gateway_port"]

pytestmark = pytest.mark.django_db

GOOD = RunReport(drained=True)


@pytest.fixture(autouse=True)
def forgetful() -> Iterator[None]:
    pinging._last_try.clear()
    pinging._silent_about.clear()
    yield
    pinging._last_try.clear()


@pytest.fixture
def watcher(settings: Settings) -> Iterator[list[bytes]]:
    """A watcher that listens, and what it was asked."""
    asked: list[bytes] = []
    server = socket.create_server(("127.0.0.1", 0))
    settings.PING_URL = f"http://127.0.0.1:{server.getsockname()[1]}/s3cret"

    def answer() -> None:
        while True:
            try:
                connection, _ = server.accept()
            except OSError:
                return
            with connection:
                asked.append(connection.recv(4096).split(b"\r\n")[0])
                connection.sendall(b"HTTP/1.0 200 OK\r\n\r\nok")

    Thread(target=answer, daemon=True).start()
    yield asked
    server.close()


def done(thread: Thread | None) -> bool:
    if thread is None:
        return False
    thread.join(10)
    return not thread.is_alive()


def test_a_good_pass_is_told_once_a_minute(clinic: Clinic, now: datetime, watcher: list[bytes]) -> None:
    called = [done(ping(report=GOOD, now=now + timedelta(seconds=late))) for late in (0, 1, 59, 60, 90, 120)]
    assert called == [True, False, False, True, False, True]
    assert watcher == [b"GET /s3cret HTTP/1.1"] * 3


def test_two_processes_call_once_between_them(clinic: Clinic, now: datetime, watcher: list[bytes]) -> None:
    first = done(ping(report=GOOD, now=now))
    pinging._last_try.clear()  # what another process would know of this one: nothing
    assert (first, done(ping(report=GOOD, now=now + timedelta(seconds=1)))) == (True, False)


def test_a_pass_that_did_not_drain_is_not_good(clinic: Clinic, now: datetime, watcher: list[bytes]) -> None:
    assert ping(report=RunReport(drained=False), now=now) is None


def test_while_messages_are_late_the_watcher_hears_nothing(clinic: Clinic, now: datetime, watcher: list[bytes]) -> None:
    MessageFactory(planned_for=now - timedelta(minutes=3))
    assert ping(report=GOOD, now=now) is None


def test_without_an_address_nobody_is_called(clinic: Clinic, now: datetime, settings: Settings) -> None:
    settings.PING_URL = ""
    assert ping(report=GOOD, now=now) is None


@pytest.mark.parametrize(
    "url", ["http://127.0.0.1:1/s3cret", "file:///etc/hostname", "nonsense", "http://nobody.invalid/"]
)
def test_a_watcher_that_is_not_there_disturbs_nothing_and_is_said_once_without_its_address(
    clinic: Clinic, now: datetime, settings: Settings, caplog: pytest.LogCaptureFixture, url: str
) -> None:
    settings.PING_URL = url
    caplog.set_level(logging.WARNING)
    assert [done(ping(report=GOOD, now=now + timedelta(minutes=minutes))) for minutes in range(3)] == [True] * 3
    assert caplog.text.count("could not be called") == 1
    assert "s3cret" not in caplog.text


def test_the_ticker_and_the_workers_task_call_after_a_pass(
    clinic: Clinic, now: datetime, watcher: list[bytes], settings: Settings
) -> None:
    from reminders.services.ticker import Ticker
    from reminders.tasks import run_due_task

    Clinic.objects.update(planned_version=clinic.plan_version)
    for act in (Ticker(lambda: now).tick, run_due_task):
        pinging._last_try.clear()
        Lease.objects.filter(name="ping").delete()
        act()
        for thread in threading.enumerate():
            if thread.name == "ping":
                thread.join(10)
    assert len(watcher) == 2


def test_a_watcher_that_never_answers_does_not_hold_up_the_pass(
    clinic: Clinic, now: datetime, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pinging, "PATIENCE_SECONDS", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        settings.PING_URL = f"http://127.0.0.1:{silent.getsockname()[1]}/"
        thread = ping(report=GOOD, now=now)
        assert thread is not None
        assert thread.daemon
        assert done(thread)
