"""The ticker: one owner at a time, and nothing a tick raises stops the next one."""

import threading
import time
from datetime import datetime, timedelta

import pytest
from django.db import OperationalError

from clinic.models import Clinic
from reminders.models import Lease
from reminders.services import ticker as module
from reminders.services.leases import lease_good, lease_release, lease_take
from reminders.services.running import RunReport
from reminders.services.ticker import LEASE_LENGTH, Ticker
from reminders.services.waking import wake

pytestmark = pytest.mark.django_db(transaction=True)

LENGTH = timedelta(seconds=45)


def take(holder: str, now: datetime) -> bool:
    return lease_take(name="ticker", holder=holder, now=now, length=LENGTH)


class TestLease:
    def test_one_holds_it_and_renews_it(self, now: datetime) -> None:
        assert [take("one", now), take("two", now), take("one", now + timedelta(seconds=30))] == [True, False, True]

    def test_another_takes_over_when_it_has_run_out(self, now: datetime) -> None:
        take("one", now)
        assert not take("two", now + LENGTH - timedelta(seconds=1))
        assert take("two", now + LENGTH)
        assert not take("one", now + LENGTH)

    def test_one_given_before_the_clock_was_set_back_is_dead(self, now: datetime) -> None:
        take("one", now)
        assert take("two", now - timedelta(hours=2))

    def test_let_go_it_is_free_at_once(self, now: datetime) -> None:
        take("one", now)
        lease_release(name="ticker", holder="one", now=now)
        assert take("two", now)

    def test_only_its_holder_lets_it_go_or_calls_it_good(self, now: datetime) -> None:
        take("one", now)
        lease_release(name="ticker", holder="two", now=now)
        lease_good(name="ticker", holder="two", now=now)
        row = Lease.objects.get()
        assert (row.until, row.last_good_at) == (now + LENGTH, None)


@pytest.fixture
def passes(clinic: Clinic, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """What each pass of the engine is to raise or return; the list grows by the name of the thread that ran it."""
    ran: list[object] = []

    def run_due(clock: object, **options: object) -> RunReport:
        ran.append(threading.current_thread().name)
        return RunReport(drained=True)

    monkeypatch.setattr(module, "run_due", run_due)
    return ran


def wait_for(condition: object, seconds: float = 10.0) -> bool:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if condition():  # type: ignore[operator]
            return True
        time.sleep(0.01)
    return False


def test_a_ticker_without_the_lease_does_nothing(passes: list[object], now: datetime) -> None:
    first, second = Ticker(lambda: now), Ticker(lambda: now)
    assert (first.tick(), second.tick(), first.tick()) == (True, False, True)
    assert len(passes) == 2


def test_the_second_takes_over_when_the_first_is_gone(passes: list[object], now: datetime) -> None:
    first, second = Ticker(lambda: now), Ticker(lambda: now + LEASE_LENGTH)
    first.tick()
    assert second.tick()


def test_an_idle_ticker_does_not_write_at_every_tick(
    passes: list[object], now: datetime, django_assert_num_queries: object
) -> None:
    ticker = Ticker(lambda: now)
    ticker.tick()
    with django_assert_num_queries(0):  # type: ignore[operator]
        ticker.tick()


def test_a_good_stretch_is_noted_when_the_lease_is_renewed(passes: list[object], now: datetime) -> None:
    times = [now]
    ticker = Ticker(lambda: times[-1])
    ticker.tick()
    times.append(now + timedelta(seconds=40))
    ticker.tick()
    assert Lease.objects.get().last_good_at == now + timedelta(seconds=40)


def test_it_runs_in_a_thread_of_its_own_until_it_is_stopped(passes: list[object], now: datetime) -> None:
    ticker = Ticker(lambda: now, tick_seconds=0.01)
    ticker.start()
    assert wait_for(lambda: len(passes) > 2)
    ticker.stop()
    count = len(passes)
    assert set(passes) == {"ticker"}
    assert not wait_for(lambda: len(passes) > count, 0.1)
    assert Lease.objects.get().until == now


def test_a_wake_up_makes_it_look_at_once(passes: list[object], now: datetime) -> None:
    ticker = Ticker(lambda: now, tick_seconds=30)
    ticker.start()
    assert wait_for(lambda: len(passes) == 1)
    wake()
    assert wait_for(lambda: len(passes) == 2)
    ticker.stop()


@pytest.mark.parametrize("fault", [OperationalError("database is locked"), OSError(28, "No space left"), KeyError("x")])
def test_a_tick_that_fails_is_said_once_and_tried_again(
    clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, fault: Exception
) -> None:
    tries: list[int] = []

    def run_due(clock: object, **options: object) -> RunReport:
        tries.append(1)
        if len(tries) < 4:
            raise fault
        return RunReport(drained=True)

    monkeypatch.setattr(module, "run_due", run_due)
    monkeypatch.setattr(module, "TAKE_AGAIN_SECONDS", 0.01)
    ticker = Ticker(lambda: now, tick_seconds=0.01)
    ticker.start()
    assert wait_for(lambda: len(tries) > 5)
    ticker.stop()
    failed = [record for record in caplog.records if record.name == module.__name__]
    assert [record.getMessage() for record in failed] == ["A tick failed; the next one tries again"]


@pytest.mark.parametrize(
    ("ahead", "seconds"), [(None, 1.0), (timedelta(seconds=0.3), 0.3), (timedelta(days=9), 1.0), (timedelta(0), 0.0)]
)
def test_it_sleeps_to_the_next_message_and_a_tick_at_most(
    clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch, ahead: timedelta | None, seconds: float
) -> None:
    report = RunReport(drained=True, next_due=None if ahead is None else now + ahead)
    monkeypatch.setattr(module, "run_due", lambda clock, **options: report)
    ticker = Ticker(lambda: now)
    assert ticker._pause() == module.TAKE_AGAIN_SECONDS
    ticker.tick()
    assert ticker._pause() == pytest.approx(seconds)


def test_a_message_that_was_due_while_it_slept_makes_it_look_at_once(
    clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    moments = [now]
    report = RunReport(drained=True, next_due=now + timedelta(seconds=1))
    monkeypatch.setattr(module, "run_due", lambda clock, **options: report)
    ticker = Ticker(lambda: moments[-1])
    ticker.tick()
    moments.append(now + timedelta(seconds=5))
    assert ticker._pause() == 0.0
