"""Taking back an ending that somebody pressed by mistake."""

from datetime import datetime, timedelta

from django.db import transaction

from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from taping.models import Application
from taping.services.refusals import TapingRefused

UNDO_WITHIN = timedelta(minutes=10)
BY_LINK = ("patient", "helper")


def may_reopen(application: Application, now: datetime) -> bool:
    """Whether the patient or helper ended this tape so short a time ago that it can be taken back. now: aware."""
    ended_at = application.ended_at
    return ended_at is not None and application.ended_by in BY_LINK and now - ended_at <= UNDO_WITHIN


@transaction.atomic
def application_reopen(*, actor: Actor, now: datetime, application: Application) -> Application:
    """The tape is still on: forget the ending, so that it is reminded of again. Raises TapingRefused.

    One that is on already stays as it is. Refused after ten minutes, for an ending recorded by staff, and where
    new tape was put on the same place since.
    """
    current = Application.objects.select_for_update().get(pk=application.pk)
    if current.ended_at is None:
        return current
    if not may_reopen(current, now):
        raise TapingRefused("This can no longer be undone here. Please call us.")
    same_place = {"patient": current.patient_id, "region": current.region, "side": current.side}
    if Application.objects.filter(**same_place, ended_at=None).exists():
        raise TapingRefused("There is new tape on this place. Please call us.")
    current.ended_at, current.ended_how, current.ended_by, current.ending_note = None, "", "", ""
    current.save(update_fields=["ended_at", "ended_how", "ended_by", "ending_note"])
    event_record(actor=actor, verb="application.reopened", subject=current, patient=current.patient, now=now)
    plan_raise(current)
    return current
