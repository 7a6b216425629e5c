"""Today: what the desk does next; who may move again; whom to call."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.models import User
from clinic.views.access import STAFF, clinic_of, for_roles, user_of
from reminders.forms.calls import AGAIN_CHOICES, off_choices
from reminders.selectors.calls import call_items_open, call_rows
from reminders.selectors.tapes import tapes_today
from reminders.selectors.today import follow_ups, signatures_open, visits_of_day

MOST_CALLS = 60


@for_roles(*STAFF)
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """The call list stands first for the desk, the running waits for those who tape; one person may be both."""
    now, zone, user = timezone.now(), clinic_of(request).zone, user_of(request)
    calls = call_rows(call_items_open(), now=now)
    mine_only = user.tapes and not _at_desk(user)
    context: dict[str, Any] = {
        "now": now,
        "clinic": clinic_of(request),
        "tapes_person": user.tapes,
        "desk_person": _at_desk(user),
        "tapes": tapes_today(now=now, zone=zone),
        "calls": calls[:MOST_CALLS],
        "calls_more": max(0, len(calls) - MOST_CALLS),
        "urgent": sum(row.item.urgent for row in calls),
        "again_choices": AGAIN_CHOICES,
        "off_choices": off_choices(now=now, zone=zone),
        "mine_only": mine_only,
        "visits": visits_of_day(now=now, zone=zone, therapist=user if mine_only else None),
        "visits_heading": "My visits" if mine_only else "Visits",
        "signatures": signatures_open(user) if user.is_therapist else (),
    }
    if _at_desk(user):
        context["follow_ups"] = follow_ups(now=now, zone=zone)
    return render(request, "reminders/today.html", context)


def _at_desk(user: User) -> bool:
    return user.is_front_desk or user.is_manager
