"""Tells the clinic's duty address of a skin reaction while nobody is there. The mail goes by the outbox."""

from datetime import datetime

from django.db import transaction

from clinic.models import Patient
from clinic.models.people import Channel
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from reminders.models import Message
from reminders.rules.duty import plan_duty_report
from reminders.selectors.link import opening_at
from reminders.services.subjects import report_subject
from reminders.services.waking import wake
from taping.models import SkinReport


@transaction.atomic
def duty_tell(*, actor: Actor, now: datetime, report: SkinReport, patient: Patient) -> Message | None:
    """Put one mail about report into the outbox where the clinic is closed at now (aware) and has a duty address.

    The same report again changes nothing. The row has no application: whatever becomes of the tape, it goes.
    """
    clinic = clinic_get()
    planned = plan_duty_report(now, clinic.zone, opening_at(now, clinic.zone)) if clinic.duty_address else None
    if planned is None:
        return None
    message, made = Message.objects.get_or_create(
        subject=report_subject(report),
        kind=planned.kind.value,
        ordinal=planned.ordinal,
        defaults={
            "patient": patient,
            "safety": planned.kind.is_safety,
            "planned_for": planned.due_at,
            "wake_at": planned.due_at,
            "expires_at": planned.expires_at,
            "reasons": list(planned.reasons),
            "channel": Channel.EMAIL.value,
            "address": clinic.duty_address,
        },
    )
    if made:
        event_record(actor=actor, verb="duty.told", subject=report, patient=patient, now=now)
        transaction.on_commit(wake, robust=True)
    return message
