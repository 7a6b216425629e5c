"""Tells an outside watcher that messages go on time, so that somebody notices when this machine itself is silent."""

import logging
import threading
import urllib.request
from collections.abc import Callable
from datetime import datetime, timedelta
from urllib.parse import urlsplit
from uuid import uuid4

from django.conf import settings

from reminders.services.health import late_since
from reminders.services.leases import lease_take
from reminders.services.running import RunReport

log = logging.getLogger(__name__)

LEASE_NAME = "ping"
EVERY = timedelta(minutes=1)
PATIENCE_SECONDS = 5.0

_last_try: list[datetime] = []
_silent_about: set[str] = set()


def ping_after(report: RunReport, clock: Callable[[], datetime]) -> None:
    """What every door to the engine does after a pass; the clock (aware) is read only where somebody watches."""
    if settings.PING_URL:
        ping(report=report, now=clock())


def ping(*, report: RunReport, now: datetime) -> threading.Thread | None:
    """Call PING_URL in the background after a good pass: one that drained, with nothing late. now: aware.

    At most once a minute, however many processes send. Returns the thread that calls, None where nobody is called.
    """
    if not settings.PING_URL or not report.drained or _is_too_soon(now) or late_since(now=now) is not None:
        return None
    _last_try[:] = [now]
    if not lease_take(name=LEASE_NAME, holder=uuid4().hex, now=now, length=EVERY):
        return None
    thread = threading.Thread(target=_call, args=(settings.PING_URL,), name="ping", daemon=True)
    thread.start()
    return thread


def _is_too_soon(now: datetime) -> bool:
    # After the clock was set back the last try lies ahead, and does not count.
    return any(timedelta(0) <= now - at < EVERY for at in _last_try)


def _call(url: str) -> None:
    # The address may hold a secret of the watcher's, and is not logged. A fault is said once until a call succeeds.
    try:
        if urlsplit(url).scheme not in ("http", "https"):
            raise ValueError("PING_URL")
        with urllib.request.urlopen(url, timeout=PATIENCE_SECONDS) as answer:  # noqa: S310  # the scheme was looked at
            answer.read(1)
        _silent_about.clear()
    except Exception as fault:  # noqa: BLE001  # nothing outside may disturb the sending of messages
        words = type(fault).__name__
        if words not in _silent_about:
            log.warning("The watcher at PING_URL could not be called (%s). Messages go all the same.", words)
        _silent_about.add(words)
