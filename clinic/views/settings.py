"""The clinic's settings, for managers: numbers with their limits, opening hours, days closed."""

import json
from copy import copy
from hashlib import sha256
from typing import Any

from django.conf import settings as django_settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.forms.settings import ClinicForm, ClosureForm, HoursForm, spans_shown
from clinic.models import Clinic, Closure
from clinic.selectors import hours_of, therapists
from clinic.selectors.openings import holidays_ahead
from clinic.services.clinic import clinic_change, closure_add, closure_remove, holidays_close, hours_change
from clinic.signals import clinic_change_asked
from clinic.views.access import actor_of, clinic_of, for_roles

# What a change of a number does, said before it is saved.
CONSEQUENCES = {
    "adhesion_minutes": "Tapes put on from now on wait that long. Tapes already on keep their wait.",
    "water_minutes": "Tapes put on from now on wait that long. Tapes already on keep their wait.",
    "wear_first_day": "Tapes put on from now on get this wear window. Tapes already on keep theirs.",
    "wear_last_day": "Tapes put on from now on get this wear window. Tapes already on keep theirs.",
    "skin_rest_hours": "Tapes put on from now on follow this rest.",
    "quiet_from": "Messages not yet sent that fall into the new quiet hours move out of them.",
    "quiet_until": "Messages not yet sent that fall into the new quiet hours move out of them.",
    "time_zone": "Messages not yet sent go at the new zone's hours. Check opening hours and visits.",
    "optional_messages": "Messages of these kinds not yet sent are planned or dropped.",
    "country": "Telephone numbers without + and dates of birth are read as written there.",
}
PLAIN = "Pages, and messages not yet sent, say the new words."


def _page(request: HttpRequest, status: int = 200, **changed: Any) -> HttpResponse:
    today, clinic = timezone.localdate(), clinic_of(request)
    begin = {name: getattr(clinic, name) for name in ClinicForm.base_fields}
    spans = hours_of(None)
    context = {
        "form": ClinicForm(initial=begin),
        "public_address": django_settings.PUBLIC_ADDRESS,
        "hours": HoursForm(initial={f"day{weekday}": spans_shown(spans.get(weekday, [])) for weekday in range(7)}),
        "closure": ClosureForm(today=today),
        "therapists": therapists(),
        "holidays": holidays_ahead(clinic.country, today),
        "closures": Closure.objects.filter(therapist=None, day__gte=today).order_by("day"),
        **changed,
    }
    return render(request, "clinic/settings.html", context, status=status)


@for_roles("manager")
@require_http_methods(["GET", "HEAD", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    """The first post shows what would change; the second saves it, where its confirm stands for just those changes."""
    if request.method != "POST":
        return _page(request)
    form = ClinicForm(request.POST)
    if not form.is_valid():
        return _page(request, 422, form=form)
    changes = _changes(clinic_of(request), form)
    seen, now_seen = request.POST.get("confirm"), _digest(changes)
    if changes and seen != now_seen:
        told, others = _told(clinic_of(request), form), seen is not None
        return _page(request, form=form, changes=changes, told=told, confirm=now_seen, others=others)
    clinic_change(actor=actor_of(request), now=timezone.now(), values=form.cleaned_data)
    messages.success(request, "The settings are saved." if changes else "Nothing was different: nothing was saved.")
    return HttpResponseRedirect(reverse("settings"))


def _told(clinic: Clinic, form: ClinicForm) -> list[str]:
    """What the layers above say that the change would do to what is planned already."""
    after = copy(clinic)
    for name, value in form.cleaned_data.items():
        setattr(after, name, value)
    answers = clinic_change_asked.send(_told, before=clinic, after=after, now=timezone.now())
    return [sentence for _, sentences in answers for sentence in sentences or ()]


def _changes(clinic: Clinic, form: ClinicForm) -> list[dict[str, Any]]:
    return [
        {
            "label": form.fields[name].label,
            "old": _shown(getattr(clinic, name)),
            "new": _shown(value),
            "does": CONSEQUENCES.get(name, PLAIN),
        }
        for name, value in form.cleaned_data.items()
        if getattr(clinic, name) != value
    ]


def _digest(changes: list[dict[str, Any]]) -> str:
    """Stands for what the manager was shown: corrected since, or saved by somebody else, it is another."""
    shown = [[str(one["label"]), one["old"], one["new"]] for one in changes]
    return sha256(json.dumps(shown).encode()).hexdigest()


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(value).replace("_", " ") or "none"
    return f"{value:%H:%M}" if hasattr(value, "hour") else str(value) or "nothing"


@for_roles("manager")
@require_POST
def hours(request: HttpRequest) -> HttpResponse:
    form = HoursForm(request.POST)
    if not form.is_valid():
        return _page(request, 422, hours=form)
    hours_change(actor=actor_of(request), now=timezone.now(), hours=form.hours())
    messages.success(request, "The opening hours are saved.")
    return HttpResponseRedirect(reverse("settings"))


@for_roles("manager")
@require_POST
def closures(request: HttpRequest) -> HttpResponse:
    form = ClosureForm(request.POST, today=timezone.localdate())
    if not form.is_valid():
        return _page(request, 422, closure=form)
    closure_add(actor=actor_of(request), now=timezone.now(), **form.cleaned_data)
    messages.success(request, "The day is marked as closed. Visits already booked on it stay: move them in the diary.")
    return HttpResponseRedirect(reverse("settings"))


@for_roles("manager")
@require_POST
def closure_open(request: HttpRequest, pk: int) -> HttpResponse:
    closure = get_object_or_404(Closure, pk=pk, therapist=None)
    closure_remove(actor=actor_of(request), now=timezone.now(), closure=closure)
    messages.success(request, "The clinic is open on that day again.")
    return HttpResponseRedirect(reverse("settings"))


@for_roles("manager")
@require_POST
def holidays(request: HttpRequest) -> HttpResponse:
    """Close the clinic on the suggested days that were ticked."""
    suggested = {one.day: one.name for one in holidays_ahead(clinic_of(request).country, timezone.localdate())}
    ticked = set(request.POST.getlist("day"))
    days = {day: name for day, name in suggested.items() if day.isoformat() in ticked}
    if not days:
        messages.error(request, "Nothing was changed: tick the days on which the clinic is closed.")
        return HttpResponseRedirect(reverse("settings"))
    count = holidays_close(actor=actor_of(request), now=timezone.now(), days=days)
    messages.success(request, f"{count} {'day is' if count == 1 else 'days are'} marked as closed. Visits booked stay.")
    return HttpResponseRedirect(reverse("settings"))
