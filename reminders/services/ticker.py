"""The engine inside the web process: a thread that looks every second, and at once when something changes."""

import logging
import os
import socket
from collections.abc import Callable
from datetime import datetime, timedelta
from threading import Event, Thread
from uuid import uuid4

from django.db import close_old_connections, connections

from reminders.services.leases import lease_good, lease_release, lease_take
from reminders.services.pinging import ping_after
from reminders.services.retention import retention_nightly
from reminders.services.running import LIMIT_SECONDS, run_due
from reminders.services.waking import wait, wake

log = logging.getLogger(__name__)

LEASE_NAME = "ticker"
LEASE_LENGTH = timedelta(seconds=LIMIT_SECONDS + 15)
"""Longer than one pass, so that two tickers take turns instead of working side by side."""

RENEW_BEFORE = LEASE_LENGTH / 2
"""An idle ticker writes to the database only this often before its lease would end, not at every tick."""

LOOK_AGAIN = timedelta(hours=1)

TICK_SECONDS = 1.0
TAKE_AGAIN_SECONDS = 5.0


class Ticker:
    """Started by the serve command alone. Survives whatever a tick raises: the next tick tries again."""

    def __init__(self, clock: Callable[[], datetime], *, tick_seconds: float = TICK_SECONDS) -> None:
        self._clock = clock
        self._tick_seconds = tick_seconds
        self._holder = f"{socket.gethostname()}:{os.getpid()}:{uuid4().hex[:8]}"[:80]
        self._held_until: datetime | None = None
        self._stop = Event()
        self._thread = Thread(target=self._run, name="ticker", daemon=True)
        self._silent_about = ""
        self._next_due: datetime | None = None
        self._night_looked: datetime | None = None

    def start(self) -> None:
        self._thread.start()

    def stop(self, timeout: float = 15.0) -> None:
        """Finish the message that is going, let the lease go, and end. timeout: seconds to wait for that."""
        self._stop.set()
        wake()
        if self._thread.is_alive():
            self._thread.join(timeout)

    def _run(self) -> None:
        while not self._stop.is_set():
            self._guarded(self.tick)
            wait(self._pause())
        self._guarded(self._let_go)
        connections.close_all()

    def _pause(self) -> float:
        """Seconds until the next look: to the next message's moment, a tick at most; longer without the lease."""
        if self._held_until is None:
            return TAKE_AGAIN_SECONDS
        if self._next_due is None:
            return self._tick_seconds
        return min(self._tick_seconds, max(0.0, (self._next_due - self._clock()).total_seconds()))

    def _guarded(self, act: Callable[[], object]) -> None:
        close_old_connections()
        try:
            act()
            self._silent_about = ""
        except Exception as fault:
            # A locked or missing database, a full disk: said once, not every second, and tried again.
            words = type(fault).__name__
            if words != self._silent_about:
                log.exception("A tick failed; the next one tries again")
            self._silent_about = words
            self._held_until = None
        finally:
            close_old_connections()

    def tick(self) -> bool:
        """One pass, if this process holds the lease; returns whether it does."""
        if not self._hold():
            return False
        report = run_due(self._clock, stop=self._stop.is_set)
        self._next_due = report.next_due
        ping_after(report, self._clock)
        self._nightly()
        return True

    def _nightly(self) -> None:
        """Asked once an hour; it looks for itself whether the day's round was made."""
        now = self._clock()
        if self._night_looked is None or not timedelta(0) <= now - self._night_looked < LOOK_AGAIN:
            self._night_looked = now
            retention_nightly(now=now, holder=self._holder)

    def _hold(self) -> bool:
        now = self._clock()
        held = self._held_until
        if held is not None and now < held - RENEW_BEFORE and held - now <= LEASE_LENGTH:
            return True
        if not lease_take(name=LEASE_NAME, holder=self._holder, now=now, length=LEASE_LENGTH):
            self._held_until = None
            return False
        if held is not None:
            lease_good(name=LEASE_NAME, holder=self._holder, now=now)
        self._held_until = now + LEASE_LENGTH
        return True

    def _let_go(self) -> None:
        lease_release(name=LEASE_NAME, holder=self._holder, now=self._clock())
