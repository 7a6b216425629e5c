"""Reads of the clinic's own tables."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import Case, Q, QuerySet, When

from clinic.models import Clinic, Closure, Event, Helper, OpeningHours, Patient, User, Visit
from clinic.models.clinic import ONLY_ROW
from clinic.models.visits import LONGEST_VISIT, TAKES_TIME
from clinic.rules.local_time import day_starts
from clinic.rules.text import find_key, search_key

SEARCH_LIMIT = 30
FEWEST_DIGITS = 4
# Signs that few names hold, as a set of a regular expression. An index of PostgreSQL holds the names that do; it is
# used where the question says the same. Trigrams hold letters and digits only.
RARE_SIGNS = "!#$%&*+/:;<=>?@_|~"
MOST_ALIKE = 10

# Asked several times on every page and in every pass of the engine. Written out they take a quarter of the time: the
# ORM puts a statement together anew each time it is asked.
_CLINIC = f"SELECT * FROM clinic_clinic WHERE id = {ONLY_ROW}"  # noqa: S608  # a constant
_HOURS = "SELECT * FROM clinic_openinghours WHERE therapist_id IS NULL OR therapist_id = %s ORDER BY weekday, opens"


def clinic_get() -> Clinic:
    """The clinic's row; a clinic that was never set up gets the defaults, unsaved."""
    return next(iter(Clinic.objects.raw(_CLINIC)), None) or Clinic(id=ONLY_ROW)


def day_range(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The UTC instants [from, until) of a local calendar day, whatever its length."""
    return day_starts(day, zone), day_starts(day + timedelta(days=1), zone)


def patients_find(words: str, born: date | None = None) -> QuerySet[Patient]:
    """Patients whose name holds every word, accents and case aside; or whose number holds the digits; or born then.

    born: the date that words mean, where they are one. Zeros in front of the digits may be those of the country's own
    way of dialling, which are not stored, or of the last digits of a number. In one order that no two patients share.
    """
    found = Patient.objects.filter(erased_at=None).order_by("search_text", "id")
    key = search_key(words)
    if not key:
        return found
    wanted = Q(*(Q(search_text__contains=word) for word in key.split()))
    if connection.vendor == "postgresql" and not set(key).isdisjoint(RARE_SIGNS):
        wanted &= Q(search_text__regex=f"[{RARE_SIGNS}]")
    digits = "".join(character for character in key if character.isdecimal())
    for part in {digits, digits.lstrip("0")}:
        if len(part) >= FEWEST_DIGITS:
            wanted |= Q(phone__contains=part)
    if born is not None:
        wanted |= Q(born=born)
    return found.filter(wanted)


def patients_slice(found: QuerySet[Patient], start: int, count: int) -> list[Patient]:
    """count of these from start on. Ids first, which the index holds: a late page passes over no whole rows."""
    ids = list(found.values_list("pk", flat=True)[start : start + count])
    rows = Patient.objects.in_bulk(ids)
    return [rows[pk] for pk in ids if pk in rows]


def patients_alike(values: Mapping[str, Any]) -> list[Patient]:
    """Stored patients who may be the one about to be added, ten at most.

    The same name with no other known date of birth, the same telephone or e-mail address, or born on the same day
    with a part of the name in common. values: Patient's fields by name.
    """
    name, born = find_key(values["full_name"]), values.get("born")
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


def helper_changes_since(helper: Helper, version: int) -> list[Event]:
    """The events that raised helper from version to the stored one, newest first, with who did it."""
    events = Event.objects.filter(patient=helper.patient_id, subject_type="helper", subject_id=str(helper.pk))
    saved = events.filter(verb="helper.saved").select_related("actor").order_by("-id")
    return list(saved[: max(0, helper.version - version)])


def recipient_of(patient: Patient) -> Patient | Helper:
    """Who gets this patient's messages: the helper marked so, else the patient. Uses prefetched helpers."""
    return next((helper for helper in patient.helpers.all() if helper.gets_messages), patient)


def therapists() -> QuerySet[User]:
    return User.objects.filter(is_therapist=True, is_active=True)


def visits_between(start: datetime, end: datetime) -> QuerySet[Visit]:
    """Visits that begin in [start, end), with patient and therapist at hand."""
    return Visit.objects.filter(starts_at__gte=start, starts_at__lt=end).select_related("patient", "therapist")


def visits_overlapping(therapist: User, start: datetime, end: datetime) -> QuerySet[Visit]:
    """Visits that take up some of this therapist's time in [start, end)."""
    near = Visit.objects.filter(therapist=therapist, starts_at__gt=start - LONGEST_VISIT, starts_at__lt=end)
    return near.filter(ends_at__gt=start, state__in=TAKES_TIME)


def visit_moved_last(visit: Visit) -> Event | None:
    """The event of the latest move of this visit, with who did it."""
    moves = Event.objects.filter(patient=visit.patient_id, subject_type="visit", subject_id=str(visit.pk))
    return moves.filter(verb="visit.moved").select_related("actor").order_by("-id").first()


def hours_of(therapist: User | None) -> dict[int, list[tuple[time, time]]]:
    """Weekday to local spans; a therapist without hours of their own works the clinic's."""
    found = list(OpeningHours.objects.raw(_HOURS, [therapist.pk if therapist else None]))
    return _spans([row for row in found if row.therapist_id] or found)


def hours_entered(therapist: User | None) -> dict[int, list[tuple[time, time]]]:
    """Weekday to local spans as they were entered: the clinic's, or a therapist's own, which may be none."""
    return _spans(OpeningHours.objects.filter(therapist=therapist))


def _spans(rows: Iterable[OpeningHours]) -> dict[int, list[tuple[time, time]]]:
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
