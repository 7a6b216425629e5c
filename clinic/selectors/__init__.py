"""Reads of the clinic's own tables."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Case, Q, QuerySet, When

from clinic.models import Clinic, Closure, Event, Helper, OpeningHours, Patient, User, Visit
from clinic.models.clinic import ONLY_ROW
from clinic.rules.local_time import day_starts
from clinic.rules.text import search_key

SEARCH_LIMIT = 30
FEWEST_DIGITS = 4
MOST_ALIKE = 10


def clinic_get() -> Clinic:
    """The clinic's row; a clinic that was never set up gets the defaults, unsaved."""
    return Clinic.objects.filter(pk=ONLY_ROW).first() or Clinic(id=ONLY_ROW)


def day_range(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The UTC instants [from, until) of a local calendar day, whatever its length."""
    return day_starts(day, zone), day_starts(day + timedelta(days=1), zone)


def patients_find(words: str, born: date | None = None) -> QuerySet[Patient]:
    """Patients whose name holds every word, accents and case aside; or whose number holds the digits; or born then.

    born: the date that words mean, where they are one. Zeros in front of the digits are those of the country's
    own way of dialling and are not stored. In one order that no two patients share.
    """
    found = Patient.objects.order_by("search_text", "id")
    key = search_key(words)
    if not key:
        return found
    wanted = Q(*(Q(search_text__contains=word) for word in key.split()))
    digits = "".join(character for character in key if character.isdecimal()).lstrip("0")
    if len(digits) >= FEWEST_DIGITS:
        wanted |= Q(phone__contains=digits)
    if born is not None:
        wanted |= Q(born=born)
    return found.filter(wanted)


def patients_alike(values: Mapping[str, Any]) -> list[Patient]:
    """Stored patients who may be the one about to be added, ten at most.

    The same name with no other known date of birth, the same telephone or e-mail address, or born on the same day
    with a part of the name in common. values: Patient's fields by name.
    """
    name, born = search_key(values["full_name"]), values.get("born")
    alike = Q(search_text=name)
    if born is not None:
        alike &= Q(born=born) | Q(born=None)
        parts = Q()
        for part in name.split():
            parts |= Q(search_text__contains=part)
        alike |= parts & Q(born=born)
    for field in ("phone", "email"):
        if values.get(field):
            alike |= Q(**{f"{field}__iexact": values[field]})
    other_name = Case(When(search_text=name, then=0), default=1)
    return list(Patient.objects.filter(alike).order_by(other_name, "search_text", "id")[:MOST_ALIKE])


def patient_changes_since(patient: Patient, version: int) -> list[Event]:
    """The events that raised patient from version to the stored one, newest first, with who did it."""
    verbs = ("patient.changed", "patient.consented", "patient.consent_withdrawn")
    events = Event.objects.filter(patient=patient, subject_type="patient", verb__in=verbs).select_related("actor")
    return list(events.order_by("-id")[: max(0, patient.version - version)])


def recipient_of(patient: Patient) -> Patient | Helper:
    """Who gets this patient's messages: the helper marked so, else the patient. Uses prefetched helpers."""
    return next((helper for helper in patient.helpers.all() if helper.gets_messages), patient)


def therapists() -> QuerySet[User]:
    return User.objects.filter(is_therapist=True, is_active=True)


def visits_between(start: datetime, end: datetime) -> QuerySet[Visit]:
    """Visits that begin in [start, end), with patient and therapist at hand."""
    return Visit.objects.filter(starts_at__gte=start, starts_at__lt=end).select_related("patient", "therapist")


def hours_of(therapist: User | None) -> dict[int, list[tuple[time, time]]]:
    """Weekday to local spans; a therapist without hours of their own works the clinic's."""
    rows = list(OpeningHours.objects.filter(therapist=therapist)) if therapist else []
    rows = rows or list(OpeningHours.objects.filter(therapist=None))
    spans: dict[int, list[tuple[time, time]]] = {}
    for row in rows:
        spans.setdefault(row.weekday, []).append((row.opens, row.closes))
    return spans


def closed_days(first: date, last: date, therapist: User | None = None) -> set[date]:
    """Dates in first..last on which the clinic, or this therapist, is closed by a closure."""
    rows = Closure.objects.filter(day__range=(first, last)).filter(Q(therapist=None) | Q(therapist=therapist))
    return set(rows.values_list("day", flat=True))


def clinic_is_open(day: date) -> bool:
    """Whether the clinic's own hours hold that weekday and no closure of the whole clinic falls on the day."""
    if Closure.objects.filter(day=day, therapist=None).exists():
        return False
    return OpeningHours.objects.filter(therapist=None, weekday=day.weekday()).exists()
