"""Opens and closes call items by what happened; what staff do with them is recorded elsewhere."""

from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from clinic.models import Patient
from clinic.services.events import ENGINE, Actor, event_record
from reminders.models import CallItem, Message
from taping.models import Application, SkinReport

Reason = CallItem.Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """What somebody has to call about. since: aware; words: the patient's own."""

    patient: Patient
    reason: str
    since: datetime
    application: Application | None = None
    report: SkinReport | None = None
    message: Message | None = None
    words: str = ""
    urgent: bool = False

    @property
    def key(self) -> str:
        """Names what it is about: while an item with this key is open, the same thing opens no second one."""
        if self.report is not None:
            return f"{self.reason}:report:{self.report.pk}"
        if self.message is not None:
            return f"{self.reason}:{self.message.subject}"
        about = self.application or self.patient
        return f"{self.reason}:{about._meta.model_name}:{about.pk}"


@transaction.atomic
def call_open(*, actor: Actor, now: datetime, call: Call) -> CallItem:
    """Open an item, or add new words to the one that is open about the same thing. now: aware. Idempotent."""
    item = _open_item(call)
    if item is None:
        try:
            with transaction.atomic():
                item = CallItem.objects.create(
                    patient=call.patient,
                    application=call.application,
                    report=call.report,
                    message=call.message,
                    reason=call.reason,
                    key=call.key,
                    since=call.since,
                    words=call.words,
                    urgent=call.urgent,
                )
        except IntegrityError:  # somebody else opened it a moment ago
            item = _open_item(call)
            if item is None:
                raise
        else:
            event_record(actor=actor, verb="call.opened", subject=item, patient=call.patient, now=now)
            return item
    _add(item, call)
    return item


def _open_item(call: Call) -> CallItem | None:
    return CallItem.objects.select_for_update().filter(key=call.key, closed_at=None).first()


def _add(item: CallItem, call: Call) -> None:
    if call.words and call.words not in item.words:
        item.words = f"{item.words}\n{call.words}".strip()
        # New words put an item back among those to be called now.
        item.try_again_at = None
    item.urgent = item.urgent or call.urgent
    item.save(update_fields=["words", "urgent", "try_again_at"])


@transaction.atomic
def call_close(*, now: datetime, item: CallItem, how: str, actor: Actor = ENGINE) -> None:
    """Close an item because its cause is gone; how says which. One that is closed stays as it is."""
    closed = CallItem.objects.filter(pk=item.pk, closed_at=None)
    if closed.update(closed_at=now, closed_by=actor.user, closed_how=how[:40], try_again_at=None):
        event_record(actor=actor, verb="call.closed", subject=item, patient=item.patient, now=now)


def calls_close_ended(*, now: datetime, application: Application, actor: Actor = ENGINE) -> None:
    """Close what only matters while the tape is on: that it is overdue, that nobody can be reached about it."""
    moot = CallItem.objects.filter(
        application=application, reason__in=(Reason.OVERDUE, Reason.UNREACHABLE), closed_at=None
    )
    for item in moot.select_related("patient"):
        call_close(now=now, item=item, how="the tape is off", actor=actor)
