"""Taking back an ending that was recorded by mistake: by the patient within minutes, by staff until the next day."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction

from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from taping.models import Application
from taping.rules.clock import local_date
from taping.services.applications import ENDING
from taping.services.endings import DESCRIBED
from taping.services.refusals import TapingRefused

UNDO_WITHIN = timedelta(minutes=10)
STAFF_DAYS = timedelta(days=1)
"""How many days after the day on which an ending was saved staff may still take it back."""
MOST_WHY = 300


def may_reopen(application: Application, now: datetime) -> bool:
    """Whether the patient or helper ended this tape so short a time ago that it can be taken back. now: aware."""
    saved_at = application.ending_saved_at
    if application.ended_at is None or saved_at is None or application.ending_saved_by_id is not None:
        return False
    return now - saved_at <= UNDO_WITHIN


def staff_may_reopen(application: Application, now: datetime, zone: ZoneInfo) -> bool:
    """Whether staff can take this ending back at now (aware), whoever saved it. zone: the clinic's."""
    saved_at = application.ending_saved_at
    if application.ended_at is None or saved_at is None or new_tape_at(application):
        return False
    return _in_time(saved_at, now, zone)


def new_tape_at(application: Application) -> bool:
    """Whether there is tape on the place of this one, which is off."""
    same_place = {"patient": application.patient_id, "region": application.region, "side": application.side}
    return Application.objects.filter(**same_place, ended_at=None).exclude(pk=application.pk).exists()


@transaction.atomic
def application_reopen(*, actor: Actor, now: datetime, application: Application) -> Application:
    """The tape is still on, says the patient: forget the ending, so that it is reminded of again. Raises TapingRefused.

    One that is on already stays as it is. Refused after ten minutes, for an ending recorded by staff, and where
    new tape was put on the same place since.
    """
    current = Application.objects.select_for_update().get(pk=application.pk)
    if current.ended_at is None:
        return current
    if not may_reopen(current, now):
        raise TapingRefused("This can no longer be undone here. Please call us.")
    if new_tape_at(current):
        raise TapingRefused("There is new tape on this place. Please call us.")
    return _reopened(actor, now, current)


@transaction.atomic
def application_reopen_by_staff(*, actor: Actor, now: datetime, application: Application, why: str) -> Application:
    """The tape is still on, says the clinic: forget an ending, whoever saved it. now: aware. Raises TapingRefused.

    One that is on already stays as it is. Refused without a reason, after the clinic's day that follows the one on
    which the ending was saved, and where new tape was put on the same place since.
    """
    current = Application.objects.select_for_update().get(pk=application.pk)
    if current.ended_at is None:
        return current
    reason = why.strip()
    if not reason:
        raise TapingRefused("Say why the ending is taken back.", "why")
    if len(reason) > MOST_WHY:
        raise TapingRefused(f"The reason is longer than {MOST_WHY} letters. Shorten it.", "why")
    if new_tape_at(current):
        raise TapingRefused("There is new tape on this place, so the end of this one stands.")
    if current.ending_saved_at is None or not _in_time(current.ending_saved_at, now, clinic_get().zone):
        raise TapingRefused(
            "An ending can be taken back until the end of the day after it was recorded; this one stands. "
            "If there is tape on the skin, screen the skin and record it anew."
        )
    current.reopened_why = f"{current.reopened_why}\n{reason}".strip()
    return _reopened(actor, now, current)


def _in_time(saved_at: datetime, now: datetime, zone: ZoneInfo) -> bool:
    return local_date(now, zone) <= local_date(saved_at, zone) + STAFF_DAYS


def _reopened(actor: Actor, now: datetime, current: Application) -> Application:
    current.ended_at, current.ended_how, current.ended_by, current.ending_note = None, "", "", ""
    current.ending_saved_at, current.ending_saved_by = None, None
    current.ended_roughly, current.ending_went, current.ending_hair, current.ending_residue = False, "", "", ""
    current.skin_after, current.skin_after_at, current.skin_after_by = "", None, None
    current.save(update_fields=[*ENDING, *DESCRIBED, "reopened_why"])
    event_record(actor=actor, verb="application.reopened", subject=current, patient=current.patient, now=now)
    plan_raise(current)
    return current
