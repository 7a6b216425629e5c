"""Everything that writes about a patient's person."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from clinic.models import Helper, Patient
from clinic.models.people import consent_dates
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise


class PatientChanged(Exception):
    """Somebody else saved this patient since the form was opened."""

    def __init__(self, current: Patient) -> None:
        super().__init__("saved by somebody else in the meantime")
        self.current = current


class HelperChanged(Exception):
    """Somebody else saved this helper since the form was opened."""

    def __init__(self, current: Helper) -> None:
        super().__init__("saved by somebody else in the meantime")
        self.current = current


@transaction.atomic
def patient_add(*, actor: Actor, now: datetime, values: Mapping[str, Any]) -> Patient:
    """Add a patient from a form's cleaned values (names of Patient's fields)."""
    patient = Patient(**values)
    if patient.consents:
        consent_dates(patient, now=now, consents=True)
        patient.consent_asked_by = actor.user
    patient.save()
    event_record(actor=actor, verb="patient.added", subject=patient, patient=patient, now=now, fields=values)
    return patient


@transaction.atomic
def patient_change(
    *, actor: Actor, now: datetime, patient: Patient, values: Mapping[str, Any], version: int
) -> Patient:
    """Write only the fields that differ. Raises PatientChanged where version is no longer the stored one."""
    current = Patient.objects.select_for_update().get(pk=patient.pk)
    if current.version != version:
        raise PatientChanged(current)
    changed = [name for name, value in values.items() if getattr(current, name) != value]
    if not changed:
        return current
    for name in changed:
        setattr(current, name, values[name])
    if "consents" in changed:
        consent_dates(current, now=now, consents=bool(values["consents"]))
        current.consent_asked_by = actor.user if values["consents"] else current.consent_asked_by
    current.version += 1
    dates = ["consent_at", "consent_withdrawn_at", "consent_asked_by"] if "consents" in changed else []
    current.save(update_fields=[*changed, "version", *dates])
    event_record(actor=actor, verb="patient.changed", subject=current, patient=current, now=now, fields=changed)
    plan_raise(current)
    return current


@transaction.atomic
def patient_consent(*, actor: Actor, now: datetime, patient: Patient, consents: bool) -> None:
    """Record or withdraw the agreement to reminders, on every channel. Idempotent."""
    current = Patient.objects.select_for_update().get(pk=patient.pk)
    if current.consents == consents:
        return
    consent_dates(current, now=now, consents=consents)
    if consents:
        current.consent_asked_by = actor.user
    current.version += 1
    current.save(update_fields=["consents", "consent_at", "consent_withdrawn_at", "consent_asked_by", "version"])
    verb = "patient.consented" if consents else "patient.consent_withdrawn"
    event_record(actor=actor, verb=verb, subject=current, patient=current, now=now, fields=["consents"])
    plan_raise(current)


@transaction.atomic
def helper_save(*, actor: Actor, now: datetime, patient: Patient, helper: Helper) -> Helper:
    """Add a helper; where this one gets the messages, no other does."""
    helper.patient = patient
    if helper.gets_messages:
        _no_other_gets_messages(actor, now, helper)
    helper.save()
    event_record(actor=actor, verb="helper.saved", subject=helper, patient=patient, now=now)
    plan_raise(patient)
    return helper


@transaction.atomic
def helper_change(*, actor: Actor, now: datetime, helper: Helper, values: Mapping[str, Any], version: int) -> Helper:
    """Write only the fields that differ. Raises HelperChanged where version is no longer the stored one."""
    current = Helper.objects.select_for_update(of=("self",)).select_related("patient").get(pk=helper.pk)
    if current.version != version:
        raise HelperChanged(current)
    changed = [name for name, value in values.items() if getattr(current, name) != value]
    if not changed:
        return current
    for name in changed:
        setattr(current, name, values[name])
    if current.gets_messages:
        _no_other_gets_messages(actor, now, current)
    current.version += 1
    current.save(update_fields=[*changed, "version"])
    event_record(actor=actor, verb="helper.saved", subject=current, patient=current.patient, now=now, fields=changed)
    plan_raise(current.patient)
    return current


def _no_other_gets_messages(actor: Actor, now: datetime, helper: Helper) -> None:
    """Each one who no longer does is a change of its own, so that a form opened before cannot bring it back."""
    for other in Helper.objects.filter(patient=helper.patient, gets_messages=True).exclude(pk=helper.pk):
        other.gets_messages = False
        other.version += 1
        other.save(update_fields=["gets_messages", "version"])
        fields = ["gets_messages"]
        event_record(actor=actor, verb="helper.saved", subject=other, patient=helper.patient, now=now, fields=fields)


@transaction.atomic
def helper_remove(*, actor: Actor, now: datetime, helper: Helper) -> None:
    patient = helper.patient
    event_record(actor=actor, verb="helper.removed", subject=helper, patient=patient, now=now)
    helper.delete()
    plan_raise(patient)
