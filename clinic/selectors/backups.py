"""Whether the last good backup is old."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Subquery

from clinic.models import Backup


@dataclass(frozen=True, slots=True)
class BackupLate:
    """last: when the last good backup was made, aware; None where there is none."""

    last: datetime | None


def last_backup() -> Subquery:
    """When the last good backup was made, as a column of another query."""
    return Subquery(Backup.objects.order_by("-made_at").values("made_at")[:1])


def backup_judge(*, last: datetime | None, begun: datetime | None, now: datetime) -> BackupLate | None:
    """What to tell a manager: the last backup is more than BACKUP_WARN_DAYS old; None where all is well. now: aware.

    Where none was ever made, the days count from begun, when the first log-in was made.
    """
    since = last or begun
    if since is None or now - since <= timedelta(days=settings.BACKUP_WARN_DAYS):
        return None
    return BackupLate(last)
