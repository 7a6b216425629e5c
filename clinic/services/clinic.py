"""Writes the clinic's own row: its name, its numbers, its hours and the days it is closed."""

import json
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from hashlib import sha256
from typing import Any

from django.db import transaction

from clinic.models import Clinic, Closure, OpeningHours, User
from clinic.models.clinic import ONLY_ROW
from clinic.selectors import clinic_get, hours_entered
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


Spans = Mapping[int, list[tuple[time, time]]]
"""Weekday (Monday 0) to spans of local time."""


class SettingsChanged(Exception):
    """Somebody else saved settings meanwhile: saving would do something else than the manager was shown."""

    def __init__(self) -> None:
        super().__init__("saved by somebody else in the meantime")


def clinic_locked() -> Clinic:
    """The clinic's row, held until the transaction ends, so that two changes do not undo each other.

    A clinic that was never set up gets its row first, or two managers would have nothing to wait for.
    """
    held = Clinic.objects.select_for_update().filter(pk=ONLY_ROW)
    found = held.first()
    if found is None:
        Clinic.objects.bulk_create([clinic_get()], ignore_conflicts=True)
        found = held.get()
    return found


def changes_seal(clinic: Clinic, values: Mapping[str, Any]) -> str:
    """Stands for what values (names of Clinic's fields) would change: corrected, or saved by others, it is another."""
    changes = [[name, str(getattr(clinic, name)), str(value)] for name, value in _differing(clinic, values).items()]
    return sha256(json.dumps(changes).encode()).hexdigest()


@transaction.atomic
def clinic_change(*, actor: Actor, now: datetime, values: Mapping[str, Any], seal: str | None = None) -> Clinic:
    """Write the fields that differ (names of Clinic's fields); tapes already on keep the numbers they began with.

    seal: what changes_seal said of the changes that the manager looked at. Raises SettingsChanged where the stored
    row would now change otherwise.
    """
    clinic = clinic_locked()
    if seal is not None and seal != changes_seal(clinic, values):
        raise SettingsChanged
    changed = list(_differing(clinic, values))
    if not changed:
        return clinic
    for name in changed:
        setattr(clinic, name, values[name])
    # Only what differs: a text or a language stays as somebody else saved it.
    clinic.save(update_fields=changed)
    event_record(actor=actor, verb="clinic.changed", subject=clinic, now=now, fields=changed)
    if MOVES_MESSAGES.intersection(changed):
        plan_raise(clinic)
    return clinic


def _differing(clinic: Clinic, values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if getattr(clinic, name) != value}


def hours_seal(hours: Spans) -> str:
    """Stands for hours as a page shows them."""
    shown = [[day, str(opens), str(closes)] for day in sorted(hours) for opens, closes in hours[day]]
    return sha256(json.dumps(shown).encode()).hexdigest()


@transaction.atomic
def hours_change(
    *, actor: Actor, now: datetime, hours: Spans, therapist: User | None = None, seal: str | None = None
) -> None:
    """Set the clinic's own opening hours, or one therapist's: weekday (Monday 0) to its spans, local time.

    A day left out is closed; a therapist without any span works the clinic's hours. seal: what hours_seal said of the
    stored hours (hours_entered) that the manager began with; raises SettingsChanged where others are stored by now.
    """
    # Held by everybody's hours: two who delete and write at once would otherwise leave both their spans.
    clinic = clinic_locked()
    if seal is not None and seal != hours_seal(hours_entered(therapist)):
        raise SettingsChanged
    OpeningHours.objects.filter(therapist=therapist).delete()
    OpeningHours.objects.bulk_create(
        OpeningHours(therapist=therapist, weekday=weekday, opens=opens, closes=closes)
        for weekday, spans in hours.items()
        for opens, closes in spans
    )
    event_record(actor=actor, verb="hours.changed", subject=therapist or clinic, now=now, fields=["opens", "closes"])
    if therapist is None:
        plan_raise(clinic)


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
    clinic_locked()  # Before any closure, as everywhere here: whoever holds one then never waits for the other.
    known = set(Closure.objects.filter(day__in=days, therapist=None).values_list("day", flat=True))
    new = {day: name for day, name in days.items() if day not in known}
    for day, name in new.items():
        closure_add(actor=actor, now=now, day=day, reason=name)
    return len(new)


@transaction.atomic
def closure_add(*, actor: Actor, now: datetime, day: date, reason: str = "") -> Closure:
    """Close the clinic on a day; a day already closed only gets the new reason."""
    clinic = clinic_locked()
    closure, _ = Closure.objects.update_or_create(day=day, therapist=None, defaults={"reason": reason})
    event_record(actor=actor, verb="closure.added", subject=closure, now=now, fields=["day", "reason"])
    plan_raise(clinic)
    return closure


@transaction.atomic
def closure_remove(*, actor: Actor, now: datetime, closure: Closure) -> None:
    """Open the clinic, or the therapist's diary, again on that day."""
    clinic = clinic_locked() if closure.therapist_id is None else None
    event_record(actor=actor, verb="closure.removed", subject=closure, now=now)
    closure.delete()
    if clinic is not None:
        plan_raise(clinic)
