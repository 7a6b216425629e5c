"""Writes the clinic's own row: its name, its numbers, its hours and the days it is closed."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db import transaction

from clinic.models import Clinic, Closure, OpeningHours, User
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise

# What messages depend on; the rest is only shown.
MOVES_MESSAGES = frozenset(
    {
        "time_zone", "quiet_from", "quiet_until", "adhesion_minutes", "water_minutes", "wear_first_day",
        "wear_last_day", "skin_rest_hours", "optional_messages", "telephone", "emergency_number",
        "out_of_hours_advice", "name", "address",
    }
)  # fmt: skip


@transaction.atomic
def clinic_change(*, actor: Actor, now: datetime, values: Mapping[str, Any]) -> Clinic:
    """Write the fields that differ (names of Clinic's fields); tapes already on keep the numbers they began with."""
    clinic = clinic_get()
    changed = [name for name, value in values.items() if getattr(clinic, name) != value]
    if not changed and not clinic._state.adding:
        return clinic
    for name in changed:
        setattr(clinic, name, values[name])
    # Only what differs: a text or a language that somebody else saves at this moment stays as they saved it.
    clinic.save(update_fields=None if clinic._state.adding else changed)
    event_record(actor=actor, verb="clinic.changed", subject=clinic, now=now, fields=changed)
    if MOVES_MESSAGES.intersection(changed):
        plan_raise(clinic)
    return clinic


@transaction.atomic
def hours_change(
    *, actor: Actor, now: datetime, hours: Mapping[int, list[tuple[time, time]]], therapist: User | None = None
) -> None:
    """Set the clinic's own opening hours, or one therapist's: weekday (Monday 0) to its spans, local time.

    A day left out is closed; a therapist without any span works the clinic's hours.
    """
    clinic = clinic_get()
    OpeningHours.objects.filter(therapist=therapist).delete()
    OpeningHours.objects.bulk_create(
        OpeningHours(therapist=therapist, weekday=weekday, opens=opens, closes=closes)
        for weekday, spans in hours.items()
        for opens, closes in spans
    )
    event_record(actor=actor, verb="hours.changed", subject=therapist or clinic, now=now, fields=["opens", "closes"])
    if therapist is None:
        _hours_moved(clinic)


@transaction.atomic
def time_off_add(
    *, actor: Actor, now: datetime, therapist: User, first: date, last: date, reason: str = ""
) -> list[Closure]:
    """Take a therapist out of the diary from first to last, both included; days taken already get the new reason."""
    days = [first + timedelta(days=offset) for offset in range((last - first).days + 1)]
    closures = [
        Closure.objects.update_or_create(day=day, therapist=therapist, defaults={"reason": reason})[0] for day in days
    ]
    event_record(actor=actor, verb="time_off.added", subject=therapist, now=now, fields=["day", "reason"])
    return closures


@transaction.atomic
def holidays_close(*, actor: Actor, now: datetime, days: Mapping[date, str]) -> int:
    """Close the clinic on each of days (date to its name), those closed already left as they are; how many were new."""
    known = set(Closure.objects.filter(day__in=days, therapist=None).values_list("day", flat=True))
    new = {day: name for day, name in days.items() if day not in known}
    for day, name in new.items():
        closure_add(actor=actor, now=now, day=day, reason=name)
    return len(new)


@transaction.atomic
def closure_add(*, actor: Actor, now: datetime, day: date, reason: str = "") -> Closure:
    """Close the clinic on a day; a day already closed only gets the new reason."""
    closure, _ = Closure.objects.update_or_create(day=day, therapist=None, defaults={"reason": reason})
    event_record(actor=actor, verb="closure.added", subject=closure, now=now, fields=["day", "reason"])
    _hours_moved(clinic_get())
    return closure


@transaction.atomic
def closure_remove(*, actor: Actor, now: datetime, closure: Closure) -> None:
    """Open the clinic, or the therapist's diary, again on that day."""
    event_record(actor=actor, verb="closure.removed", subject=closure, now=now)
    of_clinic = closure.therapist_id is None
    closure.delete()
    if of_clinic:
        _hours_moved(clinic_get())


def _hours_moved(clinic: Clinic) -> None:
    if not clinic._state.adding:
        plan_raise(clinic)
