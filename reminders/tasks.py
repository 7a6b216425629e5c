"""The grown set-up's door to the engine. The task carries nothing: rows say what is to be done."""

from uuid import uuid4

from celery import shared_task
from django.utils import timezone

from reminders.services.pinging import ping_after
from reminders.services.retention import retention_nightly
from reminders.services.running import run_due


@shared_task(name="reminders.run_due", ignore_result=True, expires=1)  # type: ignore[untyped-decorator]
def run_due_task() -> None:
    """One pass; a wake-up that waited a second is dropped, the next one sees the same rows."""
    ping_after(run_due(timezone.now), timezone.now)


@shared_task(name="reminders.retention", ignore_result=True, soft_time_limit=1500, time_limit=1800)  # type: ignore[untyped-decorator]
def retention_task() -> None:
    """The round of the night; asked every hour, it looks for itself whether the day's was made."""
    retention_nightly(now=timezone.now(), holder=uuid4().hex)
