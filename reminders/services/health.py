"""Health is judged by the work: the age of the oldest due message that has not gone."""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Min

from reminders.models import Message

log = logging.getLogger(__name__)

LATE_AFTER = timedelta(minutes=2)
WAITING = (Message.State.PLANNED, Message.State.CLAIMED, Message.State.SENDING)


@dataclass(frozen=True, slots=True)
class Health:
    """database, migrations: "ok" or a plain word of what is wrong; oldest_due_seconds: age of the oldest unsent row."""

    database: str
    migrations: str
    oldest_due_seconds: int | None

    @property
    def good(self) -> bool:
        late = (self.oldest_due_seconds or 0) > LATE_AFTER.total_seconds()
        return self.database == "ok" and self.migrations == "ok" and not late

    def as_dict(self) -> dict[str, object]:
        return {
            "ready": self.good,
            "database": self.database,
            "migrations": self.migrations,
            "oldest_due_seconds": self.oldest_due_seconds,
        }


def late_since(*, now: datetime) -> datetime | None:
    """When the oldest due and unsent message should have gone, if that is longer ago than LATE_AFTER."""
    oldest = Message.objects.filter(state__in=WAITING, wake_at__lte=now - LATE_AFTER).aggregate(at=Min("wake_at"))["at"]
    return oldest if isinstance(oldest, datetime) else None


def health_now(*, now: datetime) -> Health:
    """Never raises: a database that is gone is an answer. now: aware."""
    try:
        executor = MigrationExecutor(connection)
        behind = executor.migration_plan(executor.loader.graph.leaf_nodes())
        if behind:
            return Health("ok", "run manage.py migrate", None)
        oldest = Message.objects.filter(state__in=WAITING, wake_at__lte=now).aggregate(at=Min("wake_at"))["at"]
    except DatabaseError as fault:
        log.error("The database does not answer: %s", type(fault).__name__)
        return Health("does not answer", "unknown", None)
    return Health("ok", "ok", max(0, int((now - oldest).total_seconds())) if oldest else None)
