"""What the clock puts on the call list, and takes off it again."""

import logging
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import InterfaceError, OperationalError
from django.db.models import QuerySet

from clinic.models import Clinic, Patient
from clinic.selectors import clinic_get, hours_of
from clinic.services.events import ENGINE
from reminders.models import CallItem, Message
from reminders.rules.call_list import overdue_since, unfinished_since, unreachable_since
from reminders.services import call_conditions
from reminders.services.call_conditions import Moments, moments_at
from reminders.services.call_list import Call, call_close, call_open
from taping.models import Application, SkinScreen, StripPlan

log = logging.getLogger(__name__)

Reason = CallItem.Reason


@dataclass(frozen=True, slots=True)
class _Tick:
    """The clinic, its hours, and the moments that decide."""

    clinic: Clinic
    hours: call_conditions.Hours
    at: Moments


def call_list_tick(now: datetime, found: Collection[str] | None = None) -> int:
    """Open what has become due and close what has settled itself; returns how many were opened. now: aware.

    found: names in call_conditions of those that found something; the others are passed over. None: go over all.
    """
    clinic, hours = clinic_get(), hours_of(None)
    tick = _Tick(clinic, hours, moments_at(now, clinic.zone, hours))
    if found is None or not call_conditions.OPENING.keys() >= set(found):
        for how, items in call_conditions.settled(found).items():
            for item in items.select_related("patient"):
                call_close(now=now, item=item, how=how)
    # Found first and opened afterwards: two messages of one tape that nobody got are one call.
    calls: dict[str, Call] = {}
    for name, condition in call_conditions.OPENING.items():
        if found is None or name in found:
            for call in _CALLS[name](condition(tick.at), tick):
                calls.setdefault(call.key, call)
    return sum(_open(call, now) for call in calls.values())


def _open(call: Call, now: datetime) -> bool:
    try:
        call_open(actor=ENGINE, now=now, call=call)
    except (OperationalError, InterfaceError):
        raise
    except Exception:
        log.exception("A call about %s could not be opened", call.key)
        return False
    return True


def _overdue(tapes: QuerySet[Application], tick: _Tick) -> Iterator[Call]:
    for tape in tapes.select_related("patient"):
        since = overdue_since(tape.closes_on, tick.clinic.zone)
        yield Call(patient=tape.patient, reason=Reason.OVERDUE, since=since, application=tape)


def _unreachable(tapes: QuerySet[Application], tick: _Tick) -> Iterator[Call]:
    for tape in tapes.select_related("patient"):
        stopped_at = tape.patient.consent_withdrawn_at
        told = not tape.patient.consents and stopped_at is not None and stopped_at >= tape.applied_at
        since = unreachable_since(tape.removal_day, tick.clinic.zone, stopped_at if told else None)
        yield Call(patient=tape.patient, reason=Reason.UNREACHABLE, since=since, application=tape)


def _unfinished(plans: QuerySet[StripPlan], tick: _Tick) -> Iterator[Call]:
    """Plans begun, asked about at closing time of their day; one item a patient."""
    for plan in plans.select_related("screen__patient"):
        yield _draft(plan.screen.patient, plan.made_at, tick)


def _untaped(screens: QuerySet[SkinScreen], tick: _Tick) -> Iterator[Call]:
    """The same for screens that permit tape without a plan."""
    for screen in screens.select_related("patient"):
        yield _draft(screen.patient, screen.saved_at or tick.at.now, tick)


def _draft(patient: Patient, made_at: datetime, tick: _Tick) -> Call:
    day = made_at.astimezone(tick.clinic.zone).date()
    since = unfinished_since(day, call_conditions.closing_time(tick.hours, day), tick.clinic.zone)
    return Call(patient=patient, reason=Reason.UNFINISHED, since=since)


def _undelivered(rows: QuerySet[Message], tick: _Tick) -> Iterable[Call]:
    return _messages(Reason.UNDELIVERED, rows, tick)


def _uncertain(rows: QuerySet[Message], tick: _Tick) -> Iterable[Call]:
    return _messages(Reason.UNCERTAIN, rows, tick)


def _messages(reason: str, rows: QuerySet[Message], tick: _Tick) -> Iterator[Call]:
    for row in rows.select_related("patient", "application"):
        since = row.settled_at or tick.at.now
        yield Call(patient=row.patient, reason=reason, since=since, application=row.application, message=row)


_CALLS: Mapping[str, Callable[[Any, _Tick], Iterable[Call]]] = {
    "overdue": _overdue,
    "unreachable": _unreachable,
    "unfinished": _unfinished,
    "untaped": _untaped,
    "undelivered": _undelivered,
    "uncertain": _uncertain,
}
