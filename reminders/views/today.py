"""Today: what the desk does next; who may move again; whom to call."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from clinic.models import User, Visit
from clinic.rules.tongue import unread
from clinic.views.access import STAFF, clinic_of, for_roles, user_of
from reminders.forms.calls import AGAIN_CHOICES, off_choices
from reminders.selectors.calls import call_items_open, call_rows
from reminders.selectors.first_steps import manager_told
from reminders.selectors.tapes import MOST_TAPES, tapes_today
from reminders.selectors.today import follow_ups, signatures_open, visits_of_day
from taping import selectors as taping

MOST_CALLS = 60
OPEN_VISITS = (Visit.State.BOOKED, Visit.State.ARRIVED)
MOST_VISITS = 60
MOST_TO_SIGN = 30


@for_roles(*STAFF)
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """The call list stands first for the desk, the running waits for those who tape; one person may be both.

    Each list has a length that can be read; "whole" in the address shows all of it.
    """
    told: dict[str, Any] = {}
    if user_of(request).is_manager:
        told["steps_missing"], told["backup_late"] = manager_told(clinic_of(request), now=timezone.now())
        told["languages_unread"] = unread(clinic_of(request).languages)
    return render(request, "reminders/today.html", {**_context(request), **told})


@for_roles(*STAFF)
@require_safe
def today_live(request: HttpRequest) -> HttpResponse:
    """The parts of Today as they are now, for the open page; whoever asks for it otherwise gets the page."""
    restores = request.headers.get("HX-History-Restore-Request") == "true"
    if request.headers.get("HX-Request") != "true" or restores:
        response: HttpResponse = redirect("today")
    else:
        response = render(request, "reminders/_today_live.html", _context(request))
    patch_vary_headers(response, ("HX-Request", "HX-History-Restore-Request"))
    return response


def _context(request: HttpRequest) -> dict[str, Any]:
    now, zone, user = timezone.now(), clinic_of(request).zone, user_of(request)
    calls, whole = call_rows(call_items_open(), now=now), request.GET.get("whole") == "1"
    listed_calls = calls if whole else calls[:MOST_CALLS]
    mine_only = user.tapes and not _at_desk(user)
    visits = list(visits_of_day(now=now, zone=zone, therapist=user if mine_only else None))
    most_to_sign = None if whole else MOST_TO_SIGN
    listed = visits if whole else _listed(visits)
    context: dict[str, Any] = {
        "now": now,
        "whole": whole,
        "clinic": clinic_of(request),
        "tapes_person": user.tapes,
        "desk_person": _at_desk(user),
        "tapes": tapes_today(now=now, zone=zone, most=None if whole else MOST_TAPES),
        "calls": listed_calls,
        "calls_more": len(calls) - len(listed_calls),
        "urgent": sum(row.item.urgent for row in calls),
        "again_choices": AGAIN_CHOICES,
        "off_choices": off_choices(now=now, zone=zone),
        "mine_only": mine_only,
        "visits": listed,
        "visits_more": len(visits) - len(listed),
        "next_visit": _next_to_tape(visits, now) if user.tapes else None,
        "visits_heading": "My visits" if mine_only else "Visits",
        "signatures": list(signatures_open(user)[:most_to_sign]) if user.is_therapist else (),
        "screens_to_sign": list(taping.screens_to_sign(user)[:most_to_sign]) if user.is_therapist else (),
        "most_to_sign": most_to_sign,
    }
    if _at_desk(user):
        context["follow_ups"] = follow_ups(now=now, zone=zone)
        context["visits_open"] = sum(visit.state in OPEN_VISITS for visit in visits)
    return context


def _listed(visits: list[Visit]) -> list[Visit]:
    """The visits of a long day that fit, in their order: who is here, then who comes next, then the last ones over."""
    if len(visits) <= MOST_VISITS:
        return visits
    first = sorted(
        (visit for visit in visits if visit.state in OPEN_VISITS), key=lambda visit: visit.state == Visit.State.BOOKED
    )
    over = [visit for visit in visits if visit.state not in OPEN_VISITS]
    kept = {visit.pk for visit in [*first, *reversed(over)][:MOST_VISITS]}
    return [visit for visit in visits if visit.pk in kept]


def _next_to_tape(visits: Sequence[Visit], now: datetime) -> int | None:
    """The visit whose patient comes next: who is here already, else the next one booked. now: aware."""
    here = [visit for visit in visits if visit.state == Visit.State.ARRIVED]
    booked = [visit for visit in visits if visit.state == Visit.State.BOOKED and visit.ends_at > now]
    return next((visit.pk for visit in (*here, *booked)), None)


def _at_desk(user: User) -> bool:
    return user.is_front_desk or user.is_manager
