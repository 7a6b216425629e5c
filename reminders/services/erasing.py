"""Erases a person from the record and leaves what law and statistics need, without a name."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.apps import apps
from django.db import transaction
from django.db.models import CharField, Field, ForeignKey, JSONField, Model, Q, QuerySet, TextField

from clinic.models import Event, Helper, ImportLine, Patient, PatientImport, Visit
from clinic.rules.text import find_key
from clinic.services.events import Actor, event_record
from reminders.models import CallItem, Link, Message, RefusedAddress, StopLink
from reminders.rules.erasing import NAME, refusals
from reminders.rules.outbox import DROPPABLE
from taping.models import Application, ScreenDraft, SkinReport, StripPlan

OURS = ("clinic", "taping", "reminders")
_DELETED: frozenset[type[Model]] = frozenset({Helper, Link, StopLink, ScreenDraft})
_KEPT: dict[str, frozenset[str]] = {
    "skinscreen": frozenset({"region", "goal", "answers", "outcome", "reasons"}),
    "stripplan": frozenset({"goal"}),
    "strip": frozenset({"shape", "place", "start", "direction"}),
    "application": frozenset({"region", "removal_answers", "laid_steps", "ended_by"}),
    "correction": frozenset({"what"}),
    "stripevent": frozenset({"by"}),
    "skinreport": frozenset({"reported_by", "signs", "urgency", "kind", "grade", "advice", "told_whom"}),
    "message": frozenset({"subject", "kind", "reasons", "refused_on"}),
    "callitem": frozenset({"key", "closed_how"}),
}
"""Fields whose words are the program's own. Every other text about a person goes, also that of a field or a table that
is added later: what nobody thought of is erased, not kept."""

_DEEPEST = 3
"""How many tables away from the patient a row can be: strip, plan, screen, patient."""


class EraseRefused(ValueError):
    """The record cannot be erased now. reasons: each says what to do first."""

    def __init__(self, reasons: list[str]) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = reasons


def erase_refusals(patient: Patient, *, now: datetime) -> list[str]:
    """Why this record cannot be erased now; empty where it can. now: aware."""
    lists = {line.of.state for line in _lines_naming(patient)}
    return refusals(
        on_skin=Application.objects.filter(patient=patient, ended_at=None).count(),
        reports_open=SkinReport.objects.filter(patient=patient, closed_at=None).count(),
        visits_ahead=Visit.objects.filter(patient=patient, state=Visit.State.BOOKED, ends_at__gt=now).count(),
        lists_open=len(lists - {PatientImport.State.WRITTEN}),
    )


@transaction.atomic
def patient_erase(*, actor: Actor, now: datetime, patient: Patient) -> Patient:
    """Erase; once more changes nothing. Raises EraseRefused, with nothing changed."""
    current = Patient.objects.select_for_update().get(pk=patient.pk)
    if current.erased_at is not None:
        return current
    reasons = erase_refusals(current, now=now)
    if reasons:
        raise EraseRefused(reasons)
    ImportLine.objects.filter(pk__in=[line.pk for line in _lines_naming(current)]).delete()
    _addresses_forget(current)
    Message.objects.filter(patient=current, state__in=DROPPABLE).update(
        state=Message.State.DROPPED, token=None, lease_until=None, settled_at=now
    )
    CallItem.objects.filter(patient=current, closed_at=None).update(closed_at=now, closed_how="erased")
    StripPlan.objects.filter(screen__patient=current, application=None, closed_at=None).update(closed_at=now)
    for rows in rows_about(current):
        if rows.model in _DELETED:
            rows.delete()
        elif blanks := blanks_of(rows.model):
            rows.update(**blanks)
    _person_forget(current, now)
    event_record(actor=actor, verb="patient.erased", subject=current, patient=current, now=now)
    return current


def _person_forget(patient: Patient, now: datetime) -> None:
    kept = {"plan_version", "planned_version", "version", "created_at", "consent_at", "consent_withdrawn_at"}
    for field in Patient._meta.concrete_fields:
        if not field.primary_key and not field.is_relation and field.name not in kept:
            setattr(patient, field.name, field.get_default() if field.has_default() else _empty(field))
    patient.full_name = f"{NAME} {patient.pk}"
    patient.consents = False
    patient.erased_at = now
    patient.version += 1
    patient.save()


def rows_about(patient: Patient) -> Iterator[QuerySet[Any]]:
    """The rows about a person in every table of the program, but not the events, which hold no words."""
    for model in apps.get_models(include_auto_created=True):
        if model._meta.app_label not in OURS or model in (Patient, Event):
            continue
        paths = _paths(model)
        if paths:
            nearest = min(paths, key=lambda path: path.count("__"))
            # Not a join: an UPDATE over one is not to be had on either database.
            about = model._base_manager.filter(**{nearest: patient})
            yield about if "__" not in nearest else model._base_manager.filter(pk__in=about.values("pk"))


def _paths(model: type[Model], depth: int = 1) -> list[str]:
    """The ways from model to the patient, as lookups: "patient", "plan__screen__patient"."""
    found = []
    for field in model._meta.concrete_fields:
        if not isinstance(field, ForeignKey):
            continue
        target = field.remote_field.model
        if target is Patient:
            found.append(field.name)
        elif depth < _DEEPEST and target is not model and target._meta.app_label in OURS:
            found += [f"{field.name}__{rest}" for rest in _paths(target, depth + 1)]
    return found


def blanks_of(model: type[Model]) -> dict[str, Any]:
    """The fields of a table whose words go, with what stands there afterwards."""
    kept = _KEPT.get(model._meta.model_name or "", frozenset())
    return {
        field.name: _empty(field)
        for field in model._meta.concrete_fields
        if isinstance(field, (CharField, TextField, JSONField))
        and not (field.primary_key or field.unique or field.choices or field.name in kept)
    }


def _empty(field: "Field[Any, Any]") -> Any:
    if field.null:
        return None
    return field.get_default() if isinstance(field, JSONField) else ""


def _lines_naming(patient: Patient) -> list[ImportLine]:
    """Lines of lists from other programs that are about this person, by name and, where both know it, birth."""
    key = find_key(patient.full_name)
    born = patient.born.isoformat() if patient.born else None
    found = []
    for line in ImportLine.objects.select_related("of").iterator(chunk_size=1000):
        named = find_key(str(line.values.get("full_name") or "")) == key
        words = any(find_key(str(cell)) == key for cell in line.cells)
        other = born and line.values.get("born") and line.values["born"] != born
        if (named or words) and not other:
            found.append(line)
    return found


def _addresses_forget(patient: Patient) -> None:
    """What refused addresses are known, unless somebody else has the same."""
    people: list[Patient | Helper] = [patient, *patient.helpers.all()]
    for address in {found for one in people for found in (one.phone, one.email) if found}:
        same = Q(phone=address) | Q(email=address)
        others = Patient.objects.filter(same).exclude(pk=patient.pk).exists()
        if not others and not Helper.objects.filter(same).exclude(patient=patient).exists():
            RefusedAddress.objects.filter(address=address).delete()
