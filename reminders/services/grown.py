"""The grown set-up has conditions that the small one has not."""

import logging
from collections.abc import Sequence
from typing import Any

import redis
from django.conf import settings
from django.core.checks import CheckMessage, Warning  # noqa: A004
from django.core.exceptions import ImproperlyConfigured
from django.db import DatabaseError, connection

from clinic.selectors import clinic_get
from clinic.zone_data import zone_data

log = logging.getLogger(__name__)

PATIENCE_SECONDS = 1.0
KEEPS_ALL = "noeviction"


def refuse_small() -> None:
    """Workers on several hosts cannot share a SQLite file. Raises ImproperlyConfigured."""
    if connection.vendor == "sqlite":
        raise ImproperlyConfigured("Workers need PostgreSQL: set DATABASE_URL to a postgres:// address, or use serve.")
    if not settings.REDIS_URL:
        raise ImproperlyConfigured("Workers need Redis: set REDIS_URL, as in redis://127.0.0.1:6379/0.")


def tell_start() -> None:
    """Say in the log what a start should say: the time-zone data, and that Redis may drop wake-ups, if it may.

    Raises ImproperlyConfigured where the clinic's zone is unknown. A Redis or a database that does not answer yet is
    left to the worker, which goes on trying.
    """
    log.info("Time-zone data %s", zone_data())
    try:
        clinic_get().zone  # noqa: B018  # raises where there is none
    except DatabaseError:
        log.warning("The database does not answer yet")
    for warning in redis_keeps_all(None):
        log.warning("%s %s", warning.msg, warning.hint)


def redis_keeps_all(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """Warns of a Redis that throws keys away when its memory is full: wake-ups would be among them.

    No message is lost by that, since rows are the truth; but none goes until the next wake-up.
    """
    policy = eviction_policy()
    if policy in ("", KEEPS_ALL):
        return []
    words = f"Redis throws keys away when its memory is full (maxmemory-policy is {policy})."
    return [Warning(words, hint=f"Set maxmemory-policy {KEEPS_ALL}.", id="wearwindow.W009")]


def eviction_policy() -> str:
    """Redis's maxmemory-policy; empty where no Redis is used, or it does not answer or does not tell."""
    if not settings.REDIS_URL:
        return ""
    try:
        with redis.Redis.from_url(
            settings.REDIS_URL, socket_timeout=PATIENCE_SECONDS, socket_connect_timeout=PATIENCE_SECONDS
        ) as server:
            told = server.info("memory")
    except redis.RedisError:
        return ""
    return str(told.get("maxmemory_policy", "")) if isinstance(told, dict) else ""
