"""Named checks. A public run with an unsafe setting refuses to start, and the line says what to set."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register, run_checks  # noqa: A004
from django.core.exceptions import ImproperlyConfigured
from django.db import connection

from clinic.zone_data import zone_data

SHORTEST_KEY = 32
ENCRYPTED = ("require", "verify-ca", "verify-full")
"""PostgreSQL's sslmodes that never go on in the clear (PostgreSQL manual, 34.19 "SSL Support")."""
OWN = "set PRIVATE_NETWORK=true where nobody else can reach the network between."
_NO_SUMMER_TIME = {"America/Mexico_City": -6, "Asia/Amman": 3}
"""Zones that gave up changing their clocks in October 2022, and their hours from UTC since (IANA tz database,
2022e and 2022f)."""


def _error(number: int, message: str, hint: str) -> Error:
    return Error(message, hint=hint, id=f"wearwindow.E{number:03}")


@register(Tags.security)
def public_run(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Holds for PUBLIC runs only; a run on this machine alone makes its own keys."""
    if not settings.PUBLIC:
        return []
    wrong: list[CheckMessage] = []
    if settings.DEBUG:
        wrong.append(_error(1, "DEBUG is on in a public run.", "Remove DEBUG from the environment."))
    if settings.SECRET_KEY == "unset" or len(settings.SECRET_KEY) < SHORTEST_KEY:  # noqa: S105
        wrong.append(_error(2, "SECRET_KEY is missing or short.", f"Set {SHORTEST_KEY} random characters or more."))
    if len(settings.LINK_KEY) < SHORTEST_KEY or settings.LINK_KEY == settings.SECRET_KEY:
        wrong.append(_error(3, "LINK_KEY is missing, short or the same as SECRET_KEY.", "Set a random key of its own."))
    if not settings.PUBLIC_ADDRESS.startswith("https://"):
        wrong.append(_error(4, "PUBLIC_ADDRESS is not an https address.", "Set it, as in https://tape.example.org"))
    if "*" in settings.ALLOWED_HOSTS:
        wrong.append(_error(5, "ALLOWED_HOSTS holds *.", "Name the hosts; links are built from PUBLIC_ADDRESS."))
    if settings.HOOK_KEY and (
        len(settings.HOOK_KEY) < SHORTEST_KEY or settings.HOOK_KEY in (settings.SECRET_KEY, settings.LINK_KEY)
    ):
        wrong.append(_error(7, "HOOK_KEY is short or the same as another key.", "Set a random key of its own."))
    return wrong + _in_the_clear()


def _in_the_clear() -> list[CheckMessage]:
    """Database and Redis on another machine are reached encrypted, or over a network that nobody else is in."""
    if settings.PRIVATE_NETWORK:
        return []
    wrong: list[CheckMessage] = []
    database = connection.settings_dict
    options = database.get("OPTIONS", {})
    host = database.get("HOST") or options.get("host", "")
    if database["ENGINE"].endswith("postgresql") and _is_elsewhere(host) and options.get("sslmode") not in ENCRYPTED:
        how = "Add ?sslmode=verify-full to DATABASE_URL"
        wrong.append(_error(10, "The database on another machine is reached in the clear.", f"{how}, or {OWN}"))
    redis = urlsplit(settings.REDIS_URL)
    if redis.scheme == "redis" and _is_elsewhere(redis.hostname or ""):
        how = "Begin REDIS_URL with rediss://"
        wrong.append(_error(11, "Redis on another machine is reached in the clear.", f"{how}, or {OWN}"))
    return wrong


def _is_elsewhere(host: str) -> bool:
    """Whether host may be another machine: no name, and a path, mean a socket of this one."""
    if not host or host.startswith("/") or host == "localhost":
        return False
    try:
        return not ip_address(host).is_loopback
    except ValueError:
        return True


@register(Tags.compatibility)
def time_zones(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Zone data that is missing is an error; data that shifts clocks where the law no longer does is a warning."""
    try:
        old = [name for name, hours in _NO_SUMMER_TIME.items() if _summer(name) != timedelta(hours=hours)]
    except ZoneInfoNotFoundError:
        return [_error(6, "The time-zone data is missing.", "Install the package tzdata.")]
    if not old:
        return []
    words = f"The time-zone data is old: {zone_data()} has wrong clocks for {', '.join(old)}."
    return [Warning(words, hint="Install a newer version of the package tzdata.", id="wearwindow.W008")]


def _summer(name: str) -> timedelta | None:
    return datetime(2027, 7, 1, 9, tzinfo=ZoneInfo(name)).utcoffset()


def refuse_unsafe() -> None:
    """For servers and workers, which do not run the check command. Raises ImproperlyConfigured, one line a fault."""
    wrong = [
        message for message in run_checks(tags=[Tags.security]) if message.id and message.id.startswith("wearwindow.E")
    ]
    if wrong:
        raise ImproperlyConfigured("\n".join(f"{message.id}: {message.msg} {message.hint}" for message in wrong))
