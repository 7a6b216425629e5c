"""The clinic's settings, for managers: numbers with their limits, opening hours, days closed."""

from copy import copy
from datetime import date, time
from typing import Any

from django.conf import settings as django_settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.forms.settings import ClinicForm, ClosureForm, HoursForm
from clinic.models import Clinic, Closure, Event
from clinic.selectors import clinic_get, hours_entered, therapists
from clinic.selectors.events import settings_saved_since, settings_version
from clinic.selectors.openings import holidays_ahead, regions_of
from clinic.services.clinic import (
    SettingsChanged,
    changes_seal,
    clinic_change,
    closure_add,
    closure_remove,
    holidays_close,
    hours_change,
)
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
    "codes_from": "From that day on, whoever has no second factor sets one up before any other page opens. "
    "Until then log-in reminds them. The list of staff shows who has one.",
    "country": "Telephone numbers without + and dates of birth are read as written there.",
    "region": "Holidays of this part are among those suggested under “Days closed”. Days marked already stay.",
}
PLAIN = "Pages, and messages not yet sent, say the new words."


def _page(request: HttpRequest, status: int = 200, **changed: Any) -> HttpResponse:
    version = settings_version()  # Before the row is read: what is saved between must be seen as saved since.
    today, clinic = timezone.localdate(), clinic_get()
    stored = {name: getattr(clinic, name) for name in ClinicForm.base_fields if name != "version"}
    context = {
        "form": ClinicForm(initial={**stored, "version": version}),
        "public_address": django_settings.PUBLIC_ADDRESS,
        "hours": HoursForm.holding(hours_entered(None)),
        "closure": ClosureForm(today=today),
        "therapists": therapists(),
        "holidays": holidays_ahead(clinic.country, clinic.region, today),
        "holidays_of": clinic,
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
    stored = {"codes_from": clinic_of(request).codes_from}
    form = ClinicForm(request.POST, initial=stored, today=timezone.localdate())
    if not form.is_valid():
        return _page(request, 422, form=form)
    saved = settings_saved_since(form.cleaned_data["version"], form.values())
    if saved:
        return _both(request, form, saved)
    clinic, values = clinic_get(), form.values()
    changes, seal = _changes(clinic, form), changes_seal(clinic, values)
    if changes and request.POST.get("confirm") != seal:
        shown: dict[str, Any] = {
            "changes": changes,
            "planned": _told(clinic, values),
            "others": "confirm" in request.POST,
        }
        return _page(request, form=form, confirm=seal, **shown)
    try:
        clinic_change(actor=actor_of(request), now=timezone.now(), values=values, seal=seal)
    except SettingsChanged:
        return _both(request, form, settings_saved_since(form.cleaned_data["version"], form.values()))
    messages.success(request, "The settings are saved." if changes else "Nothing was different: nothing was saved.")
    return HttpResponseRedirect(reverse("settings"))


def _both(request: HttpRequest, form: ClinicForm, saved: list[Event]) -> HttpResponse:
    """Somebody else saved since the form was opened: both versions, and a form with theirs where they changed one."""
    version = settings_version()
    clinic, mine = clinic_get(), form.values()
    theirs = {name for event in saved for name in event.fields}
    merged = {name: getattr(clinic, name) if name in theirs else value for name, value in mine.items()}
    differing = [{"label": one["label"], "stored": one["old"], "typed": one["new"]} for one in _changes(clinic, form)]
    context: dict[str, Any] = {
        "saved": [(event, [form.fields[name].label for name in event.fields if name in mine]) for event in saved],
        "differing": differing,
        "form": ClinicForm(initial={**merged, "version": version}),
    }
    return _page(request, 409, **context)


def _told(clinic: Clinic, values: dict[str, Any]) -> list[str]:
    """What the layers above say that the change would do to what is planned already."""
    after = copy(clinic)
    for name, value in values.items():
        setattr(after, name, value)
    answers = clinic_change_asked.send(_told, before=clinic, after=after, now=timezone.now())
    return [sentence for _, sentences in answers for sentence in sentences or ()]


def _changes(clinic: Clinic, form: ClinicForm) -> list[dict[str, Any]]:
    return [
        {
            "label": form.fields[name].label,
            "old": _shown(_named(name, getattr(clinic, name), clinic.country)),
            "new": _shown(_named(name, value, form.values()["country"])),
            "does": CONSEQUENCES.get(name, PLAIN),
        }
        for name, value in form.values().items()
        if getattr(clinic, name) != value
    ]


def _named(name: str, value: Any, country: str) -> Any:
    return dict(regions_of(country)).get(value, value or "the whole country") if name == "region" else value


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(value).replace("_", " ") or "none"
    if isinstance(value, date):
        return f"{value:%a %-d %b %Y}"
    return f"{value:%H:%M}" if isinstance(value, time) else str(value or "") or "nothing"


@for_roles("manager")
@require_POST
def hours(request: HttpRequest) -> HttpResponse:
    form = HoursForm(request.POST)
    if not form.is_valid():
        return _page(request, 422, hours=form)
    try:
        hours_change(actor=actor_of(request), now=timezone.now(), hours=form.hours(), seal=form.began_with())
    except SettingsChanged:
        stored = hours_entered(None)
        return _page(request, 409, hours=HoursForm.holding(stored, form), hours_differing=form.differing(stored))
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
    clinic = clinic_of(request)
    offered = holidays_ahead(clinic.country, clinic.region, timezone.localdate())
    suggested = {one.day: one.name for one in offered}
    ticked = set(request.POST.getlist("day"))
    days = {day: name for day, name in suggested.items() if day.isoformat() in ticked}
    if not days:
        messages.error(request, "Nothing was changed: tick the days on which the clinic is closed.")
        return HttpResponseRedirect(reverse("settings"))
    count = holidays_close(actor=actor_of(request), now=timezone.now(), days=days)
    messages.success(request, f"{count} {'day is' if count == 1 else 'days are'} marked as closed. Visits booked stay.")
    return HttpResponseRedirect(reverse("settings"))
