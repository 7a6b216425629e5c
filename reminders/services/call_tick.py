"""What the clock puts on the call list, and takes off it again."""

import logging
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta

from django.db import InterfaceError, OperationalError
from django.db.models import CharField, Exists, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from clinic.models import Clinic
from clinic.selectors import clinic_get, hours_of, recipient_of
from clinic.services.events import ENGINE
from reminders.models import CallItem, Message
from reminders.rules.call_list import overdue_since, unfinished_since, unreachable_since
from reminders.rules.outbox import ONCE_MORE
from reminders.services.addresses import refused_among, route_find
from reminders.services.call_list import Call, call_close, call_open
from taping.models import Application, StripPlan

log = logging.getLogger(__name__)

Reason = CallItem.Reason
LOOK_BACK = timedelta(days=8)
"""How far back a message that nobody got is still looked for; older ones have been seen, or no longer matter."""
CLOSING_UNKNOWN = time(18, 0)
"""Closing time of a day on which the clinic has no hours of its own."""


def call_list_tick(now: datetime) -> int:
    """Open what has become due and close what has settled itself; returns how many were opened. now: aware."""
    clinic = clinic_get()
    today = now.astimezone(clinic.zone).date()
    _close_settled(now)
    # Found first and opened afterwards: two messages of one tape that nobody got are one call.
    finds = (_overdue, _unreachable, _unfinished, _not_arrived)
    calls: dict[str, Call] = {}
    for call in (call for find in finds for call in find(clinic, today, now)):
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


def _without_item(rows: QuerySet[Application], reason: str) -> QuerySet[Application]:
    open_items = CallItem.objects.filter(application=OuterRef("pk"), reason=reason, closed_at=None)
    return rows.filter(~Exists(open_items)).select_related("patient")


def _overdue(clinic: Clinic, today: date, now: datetime) -> Iterable[Call]:
    late = Application.objects.filter(ended_at=None, closes_on__lt=today)
    for application in _without_item(late, Reason.OVERDUE):
        since = overdue_since(application.closes_on, clinic.zone)
        yield Call(patient=application.patient, reason=Reason.OVERDUE, since=since, application=application)


def _unreachable(clinic: Clinic, today: date, now: datetime) -> Iterable[Call]:
    worn = Application.objects.filter(ended_at=None).filter(Q(removal_day__lte=today) | Q(patient__consents=False))
    rows = list(_without_item(worn, Reason.UNREACHABLE).prefetch_related("patient__helpers"))
    for application in _out_of_reach(rows):
        stopped_at = application.patient.consent_withdrawn_at
        told = not application.patient.consents and stopped_at is not None and stopped_at >= application.applied_at
        since = unreachable_since(application.removal_day, clinic.zone, stopped_at if told else None)
        if since <= now:
            yield Call(patient=application.patient, reason=Reason.UNREACHABLE, since=since, application=application)


def _out_of_reach(applications: list[Application]) -> Iterable[Application]:
    refused = refused_among(one.patient for one in applications) if applications else set()
    for one in applications:
        if not one.patient.consents or route_find(recipient_of(one.patient), refused=refused) is None:
            yield one


def _unfinished(clinic: Clinic, today: date, now: datetime) -> Iterable[Call]:
    """Drafts past the screen, asked about at closing time of their day; one item a patient."""
    drafts = StripPlan.objects.filter(closed_at=None, application=None, made_at__gte=now - LOOK_BACK, made_at__lte=now)
    known = CallItem.objects.filter(patient=OuterRef("screen__patient"), reason=Reason.UNFINISHED)
    asked = known.filter(Q(closed_at=None) | Q(closed_at__gte=OuterRef("made_at")))
    rows = list(drafts.filter(~Exists(asked)).select_related("screen__patient"))
    hours = hours_of(None) if rows else {}
    for draft in rows:
        day = draft.made_at.astimezone(clinic.zone).date()
        closing = max((closes for _, closes in hours.get(day.weekday(), [])), default=CLOSING_UNKNOWN)
        since = unfinished_since(day, closing, clinic.zone)
        if since <= now:
            yield Call(patient=draft.screen.patient, reason=Reason.UNFINISHED, since=since)


def _not_arrived(clinic: Clinic, today: date, now: datetime) -> Iterable[Call]:
    """Messages that reached nobody, or of which nobody knows. One never tried for want of an address is not here:
    that nobody can be reached is asked about on the removal day."""
    failed = Q(state=Message.State.FAILED) & (Q(attempts__gt=0) | ~Q(refused_on=""))
    silent = Q(state=Message.State.UNCERTAIN) & (Q(safety=False) | Q(repeats__gte=ONCE_MORE) | Q(expires_at__lte=now))
    subject = Cast(OuterRef("subject"), CharField())
    for state, reason in ((failed, Reason.UNDELIVERED), (silent, Reason.UNCERTAIN)):
        key = Concat(Value(f"{reason.value}:"), subject)
        known = CallItem.objects.filter(Q(closed_at=None) | Q(closed_at__gte=OuterRef("settled_at")), key=key)
        rows = Message.objects.filter(state, planned_for__gte=now - LOOK_BACK, joined_to=None).filter(~Exists(known))
        for row in rows.select_related("patient", "application").order_by("settled_at", "id"):
            since = row.settled_at or now
            yield Call(patient=row.patient, reason=reason, since=since, application=row.application, message=row)


def _close_settled(now: datetime) -> None:
    for how, moot in _SETTLED.items():
        for item in CallItem.objects.filter(moot, closed_at=None).select_related("patient"):
            call_close(now=now, item=item, how=how)
    held = CallItem.objects.filter(reason=Reason.UNREACHABLE, closed_at=None, patient__consents=True)
    items = list(held.select_related("patient", "application").prefetch_related("patient__helpers"))
    refused = refused_among(item.patient for item in items) if items else set()
    for item in items:
        if route_find(recipient_of(item.patient), refused=refused) is not None:
            call_close(now=now, item=item, how="can be reached again")
    _close_drafts(now)


_SETTLED: dict[str, Q] = {
    "the tape is off": Q(reason__in=(Reason.OVERDUE, Reason.UNREACHABLE), application__ended_at__isnull=False),
    "the message went": Q(
        reason__in=(Reason.UNDELIVERED, Reason.UNCERTAIN),
        message__state__in=(Message.State.SENT, Message.State.PLANNED),
    ),
}


def _close_drafts(now: datetime) -> None:
    drafts = StripPlan.objects.filter(screen__patient=OuterRef("patient"), closed_at=None, application=None)
    done = CallItem.objects.filter(reason=Reason.UNFINISHED, closed_at=None).filter(~Exists(drafts))
    for item in done.select_related("patient"):
        call_close(now=now, item=item, how="taped or put away")
