"""What staff do with the call list: record how a call ended, and close what a call or a finding settles."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from clinic.services.events import Actor, event_record
from reminders.models import CallItem
from reminders.rules.call_endings import CallEnding, Ending, endings_of
from reminders.rules.call_list import CallReason
from reminders.services.call_list import call_close, calls_close_ended
from taping.models import Application, SkinReport
from taping.services.applications import application_end
from taping.services.reports import ReportGrade, report_close

MOST_NOTE = 500
# Endings that a person chose; what was closed because its cause is gone does not come back by hand.
BY_HAND = (CallEnding.SPOKE, CallEnding.SORTED_OUT)


class CallRefused(ValueError):
    """A call cannot end so; the text says why and what would work."""


@dataclass(frozen=True, slots=True)
class CallResult:
    """How a call ended. Aware: try_again_at, used where the item stays open; off_at, when the tape came off."""

    what: str
    note: str = ""
    try_again_at: datetime | None = None
    off_at: datetime | None = None


@transaction.atomic
def call_record(*, actor: Actor, now: datetime, item: CallItem, result: CallResult) -> CallItem:
    """Record how a call ended. An item that is closed already stays as it is. Raises CallRefused."""
    current = CallItem.objects.select_for_update(of=("self",)).select_related("application").get(pk=item.pk)
    if current.closed_at is not None:
        return current
    ending = _allowed(actor, current, result)
    if ending.needs_note and not result.note.strip():
        raise CallRefused("Write in the note how it was sorted out.")
    if len(result.note) > MOST_NOTE:
        raise CallRefused(f"The note is longer than {MOST_NOTE} letters. Shorten it.")
    _apply(actor, now, current, ending, result)
    current.save()
    if ending.what == CallEnding.IS_OFF and current.application is not None:
        _end_tape(actor, now, current.application, result)
        current.refresh_from_db()
    event_record(
        actor=actor, verb=f"call.{ending.what}", subject=current, patient=current.patient, now=now, fields=["note"]
    )
    return current


@transaction.atomic
def call_reopen(*, actor: Actor, now: datetime, item: CallItem) -> CallItem:
    """Put back on the list what somebody closed by mistake; anything else stays as it is. Raises CallRefused."""
    current = CallItem.objects.select_for_update(of=("self",)).get(pk=item.pk)
    if current.closed_at is None or current.closed_how not in BY_HAND:
        return current
    if CallItem.objects.filter(key=current.key, closed_at=None).exists():
        raise CallRefused("The same is on the call list again already.")
    current.closed_at, current.closed_by, current.closed_how = None, None, ""
    current.save(update_fields=["closed_at", "closed_by", "closed_how"])
    event_record(actor=actor, verb="call.reopened", subject=current, patient=current.patient, now=now)
    return current


def _allowed(actor: Actor, item: CallItem, result: CallResult) -> Ending:
    therapist = actor.user is not None and actor.user.is_therapist
    for ending in endings_of(CallReason(item.reason), therapist=therapist):
        if ending.what == result.what:
            return ending
    if item.reason == CallReason.SKIN_REPORT:
        raise CallRefused("Only a therapist closes a skin report, after looking at the skin. Hand it over.")
    raise CallRefused("This call cannot end so. Choose one of the buttons.")


def _apply(actor: Actor, now: datetime, item: CallItem, ending: Ending, result: CallResult) -> None:
    note = result.note.strip()
    if note:
        item.note = f"{item.note}\n{note}".strip()
    item.tries += ending.what == CallEnding.NO_ANSWER
    if ending.what == CallEnding.IS_OFF:
        return  # ending the tape closes every call about it
    if ending.what == CallEnding.HAND_OVER:
        item.owner = item.application.therapist if item.application else item.owner
        item.try_again_at = None
        return
    if ending.closes:
        item.closed_at, item.closed_by, item.closed_how, item.try_again_at = now, actor.user, ending.what, None
    else:
        item.try_again_at = result.try_again_at


def _end_tape(actor: Actor, now: datetime, tape: Application, result: CallResult) -> None:
    """The patient said so on the telephone. A day before the tape went on counts as the moment it went on."""
    ended_at = max(min(result.off_at or now, now), tape.applied_at)
    ended = application_end(
        actor=actor,
        now=now,
        application=tape,
        how=Application.Ending.OFF,
        ended_at=ended_at,
        by="patient, by telephone",
        note=result.note.strip(),
    )
    calls_close_ended(now=now, application=ended, actor=actor)


@transaction.atomic
def report_settle(*, actor: Actor, now: datetime, report: SkinReport, grade: ReportGrade) -> SkinReport:
    """A therapist closes a skin report with a finding, and with it the calls about it. Raises TapingRefused."""
    closed = report_close(actor=actor, now=now, report=report, grade=grade)
    for item in CallItem.objects.filter(report=closed, closed_at=None).select_related("patient"):
        call_close(now=now, item=item, how="seen by a therapist", actor=actor)
    return closed
