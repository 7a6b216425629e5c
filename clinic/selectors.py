"""Reads of the clinic's own tables."""

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from clinic.models import Clinic, Closure, Helper, OpeningHours, Patient, User, Visit
from clinic.models.clinic import ONLY_ROW
from clinic.rules.text import search_key

SEARCH_LIMIT = 30


def clinic_get() -> Clinic:
    """The clinic's row; a clinic that was never set up gets the defaults, unsaved."""
    return Clinic.objects.filter(pk=ONLY_ROW).first() or Clinic(id=ONLY_ROW)


def day_range(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The UTC instants [from, until) of a local calendar day, whatever its length."""
    start = datetime.combine(day, time(), tzinfo=zone)
    end = datetime.combine(date.fromordinal(day.toordinal() + 1), time(), tzinfo=zone)
    utc = ZoneInfo("UTC")
    return start.astimezone(utc), end.astimezone(utc)


def patients_find(words: str) -> QuerySet[Patient]:
    """Patients whose name holds every word, accents and case aside, or whose number holds the digits typed."""
    found = Patient.objects.order_by("search_text", "id")
    key = search_key(words)
    if not key:
        return found
    digits = "".join(character for character in words if character.isdigit())
    by_name = Q()
    for word in key.split():
        by_name &= Q(search_text__contains=word)
    return found.filter(by_name | Q(phone__contains=digits)) if len(digits) >= 4 else found.filter(by_name)


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
