"""The grown set-up's door to the engine. The task carries nothing: rows say what is to be done."""

from celery import shared_task
from django.utils import timezone

from reminders.services.running import run_due


@shared_task(name="reminders.run_due", ignore_result=True, expires=1)  # type: ignore[untyped-decorator]
def run_due_task() -> None:
    """One pass; a wake-up that waited a second is dropped, the next one sees the same rows."""
    run_due(timezone.now)
