"""What a patient pressed by mistake, taken back within ten minutes. A skin report stays: a person looks at it."""

from datetime import datetime

from clinic.services.events import Actor
from reminders.models import CallItem
from reminders.services.call_list import call_close
from taping.models import Application
from taping.services.reopening import UNDO_WITHIN, application_reopen, may_reopen

OFF, CALL = "off", "call"


def undoable(*, application: Application, now: datetime) -> tuple[str, ...]:
    """Which of the patient's last answers can still be taken back at now (aware): "off", "call", both or none."""
    found = [OFF] if may_reopen(application, now) else []
    return (*found, CALL) if _asked(application, now) is not None else tuple(found)


def answer_undo(*, actor: Actor, now: datetime, application: Application, what: str) -> None:
    """Take one answer back; nothing happens where there is nothing to take back. Raises TapingRefused when too late."""
    if what == OFF:
        application_reopen(actor=actor, now=now, application=application)
    elif what == CALL and (item := _asked(application, now)) is not None:
        call_close(now=now, item=item, how="taken back by the patient", actor=actor)


def _asked(application: Application, now: datetime) -> CallItem | None:
    asked = CallItem.objects.filter(application=application, reason=CallItem.Reason.CALL_BACK, closed_at=None, tries=0)
    return asked.filter(since__gte=now - UNDO_WITHIN).first()
