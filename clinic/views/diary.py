"""The diary: a day by therapist or a week, and what can be done with one visit."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clinic.models import User, Visit
from clinic.selectors import therapists
from clinic.selectors_diary import DiaryDay, diary_days
from clinic.services.events import event_record
from clinic.services.visits import VisitRefused, visit_set_state
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.booking import day_in
from clinic.views.posting import back_or, number_in

WEEK = 7


@for_roles(*STAFF)
@require_GET
def diary(request: HttpRequest) -> HttpResponse:
    """One day, each therapist apart; or with ?view=week seven days, of one therapist or of all."""
    today = timezone.localdate()
    chosen = day_in(request, "day") or today
    staff = list(therapists())
    only = next((one for one in staff if one.pk == number_in(request, "therapist")), None)
    week = request.GET.get("view") == "week"
    first, count = (chosen - timedelta(days=chosen.weekday()), WEEK) if week else (chosen, 1)
    days = diary_days(first, count, therapist=only, zone=clinic_of(request).zone)
    context: dict[str, Any] = {
        "week": week,
        "days": days,
        "day": chosen,
        "today": today,
        "last": days[-1].day,
        "therapists": staff,
        "only": only,
        "earlier": first - timedelta(days=count),
        "later": first + timedelta(days=count),
        "now": timezone.now(),
    }
    if not week:
        context["columns"] = _columns(days[0], [only] if only else staff)
    return render(request, "clinic/diary.html", context)


def _columns(day: DiaryDay, staff: list[User]) -> list[tuple[User, list[Visit]]]:
    """The day's visits by therapist; somebody who has left but still has visits that day keeps a column."""
    columns: dict[int, tuple[User, list[Visit]]] = {one.pk: (one, []) for one in staff}
    for one in day.visits:
        columns.setdefault(one.therapist_id, (one.therapist, []))[1].append(one)
    return list(columns.values())


@for_roles(*STAFF)
@require_GET
def visit(request: HttpRequest, pk: int) -> HttpResponse:
    one = get_object_or_404(Visit.objects.select_related("patient", "therapist"), pk=pk)
    now = timezone.now()
    event_record(actor=actor_of(request), verb="patient.read", subject=one, patient=one.patient, now=now)
    return render(request, "clinic/visit_page.html", {"visit": one, "now": now, "back": back_or(request, "")})


@for_roles(*STAFF)
@require_POST
def visit_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Arrived, done, did not attend, cancelled, or booked again (state=), then back to where the button stood."""
    one = get_object_or_404(Visit.objects.select_related("patient"), pk=pk)
    state = request.POST.get("state", "")
    if state not in Visit.State.values:
        messages.error(request, "Nothing was changed: choose what happened to the visit.")
    else:
        try:
            done = visit_set_state(actor=actor_of(request), now=timezone.now(), visit=one, state=state)
            messages.success(request, f"{one.patient.full_name}: {done.get_state_display().lower()}.")
        except VisitRefused as refused:
            messages.error(request, str(refused))
    return HttpResponseRedirect(back_or(request, reverse("visit_page", args=[pk])))
