"""A therapist's own hours and time off, for managers."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.forms.settings import HoursForm, TimeOffForm
from clinic.models import Closure, User
from clinic.selectors import hours_entered
from clinic.selectors.openings import absences, visits_on
from clinic.services.clinic import SettingsChanged, closure_remove, hours_change, time_off_add
from clinic.views.access import actor_of, clinic_of, for_roles


def _page(request: HttpRequest, therapist: User, status: int = 200, **changed: Any) -> HttpResponse:
    today = timezone.localdate()
    own = hours_entered(therapist)
    away = list(absences(therapist, today))
    context = {
        "therapist": therapist,
        "own": own,
        "hours": HoursForm.holding(own),
        "time_off": TimeOffForm(today=today),
        "away": away,
        "booked": visits_on(therapist, {one.day for one in away}, clinic_of(request).zone),
        **changed,
    }
    return render(request, "clinic/therapist_hours.html", context, status=status)


@for_roles("manager")
@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """The hours and the days away; a post saves the hours."""
    therapist = _therapist(pk)
    if request.method != "POST":
        return _page(request, therapist)
    form = HoursForm(request.POST)
    if not form.is_valid():
        return _page(request, therapist, 422, hours=form)
    actor, now, seal = actor_of(request), timezone.now(), form.began_with()
    try:
        hours_change(actor=actor, now=now, hours=form.hours(), therapist=therapist, seal=seal)
    except SettingsChanged:
        stored = hours_entered(therapist)
        again = {"hours": HoursForm.holding(stored, form), "hours_differing": form.differing(stored)}
        return _page(request, therapist, 409, **again)
    word = "The hours are saved." if form.hours() else "Without hours of their own, the clinic's hours hold."
    messages.success(request, f"{word} Visits already booked stay.")
    return HttpResponseRedirect(reverse("therapist_hours", args=[pk]))


@for_roles("manager")
@require_POST
def away(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter days away. Visits booked on them stay, and are listed."""
    therapist = _therapist(pk)
    form = TimeOffForm(request.POST, today=timezone.localdate())
    if not form.is_valid():
        return _page(request, therapist, 422, time_off=form)
    days = time_off_add(
        actor=actor_of(request),
        now=timezone.now(),
        therapist=therapist,
        first=form.cleaned_data["day"],
        last=form.cleaned_data["last"],
        reason=form.cleaned_data["reason"],
    )
    messages.success(request, f"{therapist.full_name} is away on {len(days)} {'day' if len(days) == 1 else 'days'}.")
    return HttpResponseRedirect(reverse("therapist_hours", args=[pk]))


@for_roles("manager")
@require_POST
def back(request: HttpRequest, pk: int) -> HttpResponse:
    """A day away is worked after all."""
    closure = get_object_or_404(Closure.objects.exclude(therapist=None), pk=pk)
    address = reverse("therapist_hours", args=[closure.therapist_id])
    closure_remove(actor=actor_of(request), now=timezone.now(), closure=closure)
    messages.success(request, "That day is open in the diary again.")
    return HttpResponseRedirect(address)


def _therapist(pk: int) -> User:
    return get_object_or_404(User, pk=pk, is_therapist=True)
