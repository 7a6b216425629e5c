"""The small clinic's one process: pages by waitress, messages by the ticker."""

import ipaddress
import logging
import signal
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.utils import timezone
from waitress.server import create_server

from clinic.checks import refuse_unsafe
from clinic.long_bodies import long_bodies_dropped
from clinic.selectors import clinic_get
from clinic.selectors.staff import FIRST_MANAGER, anybody_can_log_in
from clinic.static_files import static_collect
from clinic.zone_data import zone_data
from reminders.services.ticker import Ticker
from reminders.services.ways_out import transports_from_settings

log = logging.getLogger(__name__)

THREADS = 12
"""More than the tries to log in that may be waiting at one time: pages never wait for all of them."""


def serve(*, host: str, port: int, say: Callable[[str], object], with_ticker: bool = True) -> None:
    """Prepare the database and serve until SIGTERM or SIGINT. say gets one line a fact, the address last.

    Raises ImproperlyConfigured where a setting must be put right first, OSError where the port is taken.
    """
    refuse_open_door(host)
    refuse_unsafe()
    transports_from_settings()
    _prepare()
    clinic_get().zone  # noqa: B018  # raises where this machine does not know it
    from clinic.wsgi import application  # loads the pages; the lines above must have had their say

    listening: dict[int, Any] = {}
    options = {"threads": THREADS, "ident": None, "max_request_body_size": settings.MOST_THROWN_AWAY}
    with closing(create_server(application, map=listening, host=host, port=port, **options)) as server:
        long_bodies_dropped(listening)
        ticker = Ticker(timezone.now) if with_ticker else None
        _stop_by_signal()
        if ticker is not None:
            ticker.start()
        log.info("Time-zone data %s", zone_data())
        if not anybody_can_log_in():
            log.warning("Nobody can log in yet. Make the first manager's log-in: %s", FIRST_MANAGER)
        say(f"Wearwindow is at http://{_shown(host)}:{_port(server)}/ (stop it with Ctrl-C)")
        try:
            server.run()  # returns when a signal comes
        finally:
            if ticker is not None:
                ticker.stop()
        say("Stopped.")


def refuse_open_door(host: str) -> None:
    """Only a public run may be reached from other machines. Raises ImproperlyConfigured."""
    if not settings.PUBLIC and not _is_loopback(host):
        raise ImproperlyConfigured(
            f"{host} can be reached from other machines. Set PUBLIC=true and what it asks for, or serve on 127.0.0.1."
        )


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _prepare() -> None:
    try:
        Path(settings.DATA_FOLDER).mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as refused:
        raise ImproperlyConfigured(f"DATA_FOLDER cannot be made: {refused.strerror}.") from refused
    call_command("migrate", interactive=False, verbosity=0)
    static_collect()


def _port(server: Any) -> int:
    # A name such as localhost may mean two addresses, and then there are two sockets.
    listening = getattr(server, "effective_listen", None) or [(server.effective_host, server.effective_port)]
    return int(listening[0][1])


def _shown(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _stop_by_signal() -> None:
    def leave(number: int, frame: FrameType | None) -> Any:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, leave)
    signal.signal(signal.SIGINT, leave)
