"""A recorded screen: what was found, the sheet of a hold, the strips after it, or why there are none."""

from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clinic.services.events import event_record
from clinic.views.access import TAPERS, actor_of, clinic_of, for_roles, user_of
from taping import selectors
from taping.models import Application, SkinScreen, StripPlan
from taping.rules.late_entry import MOST_DAYS_BACK, days_back
from taping.rules.places import region_words
from taping.rules.skin_application import PERMITS
from taping.rules.technique import TECHNIQUES
from taping.services.again import again_for
from taping.services.plans import plan_start
from taping.services.refusals import TapingRefused
from taping.services.screens import screen_countersign, screen_not_taped
from taping.views.screen_context import places_after, screen_address


@for_roles(*TAPERS)
@require_GET
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """A recorded screen: the verdict, every reason with its advice, and what next."""
    screen = _screen_or_404(pk)
    now = timezone.now()
    event_record(actor=actor_of(request), verb="patient.read", subject=screen, patient=screen.patient, now=now)
    plans = list(screen.plans.select_related("application").order_by("-made_at"))
    after = places_after(request)
    found = _found(request, screen, now)
    context = {
        **found,
        "last_time": again_for(screen, clinic_of(request)) if found["today"] else None,
        "plan": next((plan for plan in plans if plan.closed_at is None and _tape_of(plan) is None), None),
        "tape": next((tape for tape in map(_tape_of, plans) if tape is not None), None),
        "closed": next((plan for plan in plans if plan.closed_at is not None), None),
        "signs": screen.supervisor == user_of(request) and screen.countersigned_at is None,
        "again": f"?{urlencode({'region': screen.region, 'side': screen.side, 'goal': screen.goal})}",
        "next_place": region_words(*after[0]) if after else "",
        "next_address": screen_address(screen.patient_id, after) if after else "",
        "goal": TECHNIQUES[_known_goal(screen)].label if _known_goal(screen) else "",
    }
    return render(request, "taping/screen_page.html", context)


def _found(request: HttpRequest, screen: SkinScreen, now: datetime) -> dict[str, Any]:
    zone = clinic_of(request).zone
    of_day = selectors.screens_of_day(screen.patient, screen.made_at, zone)
    ago = days_back(screen.made_at, now, zone)
    others = [one for one in of_day if one.pk != screen.pk]
    return {
        "screen": screen,
        "clinic": clinic_of(request),
        "now": now,
        "permits": screen.outcome in PERMITS,
        "today": ago == 0,
        "late": 0 < ago <= MOST_DAYS_BACK,
        "outdated": selectors.outdated_among(screen, of_day, until=now),
        "others": [(one, selectors.outdated_among(one, of_day, until=now)) for one in others],
        "urgent": [reason for reason in screen.reasons if reason.get("who")],
    }


def _tape_of(plan: StripPlan) -> Application | None:
    return getattr(plan, "application", None)


@for_roles(*TAPERS)
@require_GET
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The screen on paper, for the record or for whoever must see the patient: on a page of its own, black on white."""
    screen = _screen_or_404(pk)
    now = timezone.now()
    event_record(actor=actor_of(request), verb="patient.read", subject=screen, patient=screen.patient, now=now)
    return render(request, "taping/screen_sheet.html", _found(request, screen, now))


@for_roles(*TAPERS)
@require_POST
def start_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin the strips after a screen that permits tape, or go on with the plan that was begun."""
    screen = _screen_or_404(pk)
    late = "late" in request.POST
    try:
        plan = plan_start(actor=actor_of(request), now=timezone.now(), screen=screen, late=late)
    except TapingRefused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(reverse("screen_page", args=[pk]))
    return HttpResponseRedirect(reverse("plan_page", args=[plan.pk]))


@for_roles(*TAPERS)
@require_POST
def not_taped(request: HttpRequest, pk: int) -> HttpResponse:
    """Say why no tape followed."""
    screen = _screen_or_404(pk)
    try:
        screen_not_taped(actor=actor_of(request), now=timezone.now(), screen=screen, why=request.POST.get("why", ""))
    except TapingRefused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(reverse("screen_page", args=[pk]))
    messages.success(request, "Marked as not taped.")
    return HttpResponseRedirect(reverse("patient_page", args=[screen.patient_id]))


@for_roles("therapist")
@require_POST
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """The supervisor signs a student's screen."""
    screen = _screen_or_404(pk)
    try:
        screen_countersign(actor=actor_of(request), now=timezone.now(), screen=screen)
    except TapingRefused as refused:
        messages.error(request, refused.message)
    else:
        messages.success(request, "The screen is signed.")
    return HttpResponseRedirect(reverse("screen_page", args=[pk]))


def _screen_or_404(pk: int) -> SkinScreen:
    screen = selectors.screen_get(pk)
    if screen is None:
        raise Http404
    return screen


def _known_goal(screen: SkinScreen) -> Any:
    return screen.goal if screen.goal in set(TECHNIQUES) else None
