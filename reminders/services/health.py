"""Health is judged by the work: the age of the oldest due message that has not gone."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from reminders.selectors.waiting import message_oldest_due
from reminders.services.grown import redis_keeps_all

log = logging.getLogger(__name__)

LATE_AFTER = timedelta(minutes=2)
REDIS_PATIENCE_SECONDS = 1.0


@dataclass(frozen=True, slots=True)
class Health:
    """Each word is "ok" or what is wrong; wake_ups is "not used" in the small set-up.

    oldest_due_seconds is the age of the oldest message that is due and has not gone, None where there is none.
    """

    database: str
    migrations: str
    wake_ups: str
    oldest_due_seconds: int | None

    @property
    def good(self) -> bool:
        """Redis is not asked for: without it messages are late, and that is what counts."""
        late = (self.oldest_due_seconds or 0) > LATE_AFTER.total_seconds()
        return self.database == "ok" and self.migrations == "ok" and not late

    def as_dict(self) -> dict[str, object]:
        return {
            "ready": self.good,
            "database": self.database,
            "migrations": self.migrations,
            "wake_ups": self.wake_ups,
            "oldest_due_seconds": self.oldest_due_seconds,
        }


def late_since(*, now: datetime) -> datetime | None:
    """When the oldest due and unsent message should have gone, if that is longer ago than LATE_AFTER."""
    return message_oldest_due(now - LATE_AFTER)


def health_now(*, now: datetime) -> Health:
    """Never raises: a database that is gone is an answer. now: aware."""
    wake_ups = _wake_ups()
    try:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return Health("ok", "run manage.py migrate", wake_ups, None)
        oldest = message_oldest_due(now)
    except DatabaseError as fault:
        log.error("The database does not answer: %s", type(fault).__name__)
        return Health("does not answer", "unknown", wake_ups, None)
    return Health("ok", "ok", wake_ups, max(0, int((now - oldest).total_seconds())) if oldest else None)


def _wake_ups() -> str:
    if not settings.REDIS_URL:
        return "not used"
    try:
        with redis.Redis.from_url(
            settings.REDIS_URL,
            socket_timeout=REDIS_PATIENCE_SECONDS,
            socket_connect_timeout=REDIS_PATIENCE_SECONDS,
        ) as server:
            server.ping()
    except redis.RedisError as fault:
        log.error("Redis does not answer: %s. Messages wait until it is back.", type(fault).__name__)
        return "does not answer"
    may_drop = redis_keeps_all(None)
    return f"{may_drop[0].msg} {may_drop[0].hint}" if may_drop else "ok"
