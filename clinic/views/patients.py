"""Patients: find, add, change; who may remind them."""

from datetime import date, datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clinic.forms.fields import date_order
from clinic.forms.patients import PatientForm, initial_of
from clinic.models import Patient
from clinic.rules.ages import UnreadableDateError, is_minor, parse_date, parse_worded_date
from clinic.selectors import SEARCH_LIMIT, patient_changes_since, patients_alike, patients_find, patients_slice
from clinic.services.events import event_record
from clinic.services.patients import PatientChanged, patient_add, patient_change, patient_consent
from clinic.templatetags.words import date_words
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.conflicts import both_versions, conflict_page
from clinic.views.posting import back_or, number_in, redirect_once, text_in

LAST_PAGE = 10_000


@for_roles(*STAFF)
@require_GET
def patients(request: HttpRequest) -> HttpResponse:
    """Everybody, or those that match; a page of SEARCH_LIMIT."""
    words = text_in(request, "q")
    today = timezone.localdate()
    page = min(max(number_in(request, "page") or 1, 1), LAST_PAGE)
    found = patients_find(words, as_date(words, clinic_of(request).country, today))
    start = (page - 1) * SEARCH_LIMIT
    rows = patients_slice(found, start, SEARCH_LIMIT + 1)
    context = {
        "words": words,
        "rows": rows[:SEARCH_LIMIT],
        "page": page,
        "more": len(rows) > SEARCH_LIMIT,
        "today": today,
        "anybody": bool(rows) or Patient.objects.exists(),
    }
    return render(request, "clinic/patient_list.html", context)


def as_date(words: str, country: str, today: date) -> date | None:
    """The date that a search means, written with numbers in the order of the country, or with the month's name."""
    try:
        return parse_date(words, date_order(country), latest=today)
    except UnreadableDateError:
        return parse_worded_date(words, latest=today)


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    """Add a patient; somebody alike is shown first and has to be looked at."""
    now, today = timezone.now(), timezone.localdate()
    if request.method != "POST":
        begin = {"full_name": text_in(request, "name"), "language": "en"}
        form = PatientForm(clinic=clinic_of(request), today=today, initial=begin)
        return render(request, "clinic/patient_add.html", {"form": form, "today": today})
    form = PatientForm(request.POST, clinic=clinic_of(request), today=today)
    alike: list[Patient] = []
    if form.is_valid():
        alike = patients_alike(form.values())
        seen = set(form.cleaned_data["alike_seen"].split(","))
        if all(str(patient.pk) in seen for patient in alike):
            return redirect_once(request, now, lambda: _added(request, form, now))
    context = {"form": form, "alike": alike, "alike_ids": ",".join(str(one.pk) for one in alike), "today": today}
    return render(request, "clinic/patient_add.html", context, status=422)


def _added(request: HttpRequest, form: PatientForm, now: datetime) -> str:
    patient = patient_add(actor=actor_of(request), now=now, values=form.values())
    born = f", born {date_words(patient.born)}" if patient.born else ""
    messages.success(request, f"{patient.full_name}{born}: added.")
    if patient.born and is_minor(patient.born, timezone.localdate(now)):
        messages.warning(request, "This patient is a minor: add the parent or guardian.")
        return f"{reverse('helper_add', args=[patient.pk])}?relation=guardian"
    return reverse("patient_page", args=[patient.pk])


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    """Change contact details. Where somebody else saved meanwhile, both versions are shown and nothing is lost."""
    now, today, actor = timezone.now(), timezone.localdate(), actor_of(request)
    patient = get_object_or_404(Patient, pk=pk, erased_at=None)
    clinic = clinic_of(request)
    if request.method != "POST":
        event_record(actor=actor, verb="patient.read", subject=patient, patient=patient, now=now)
        form = PatientForm(clinic=clinic, today=today, initial=initial_of(patient, PatientForm))
        return render(request, "clinic/patient_change.html", {"form": form, "patient": patient})
    helped = patient.helpers.filter(gets_messages=True).exists()
    form = PatientForm(request.POST, clinic=clinic, today=today, helped=helped)
    if not form.is_valid():
        return render(request, "clinic/patient_change.html", {"form": form, "patient": patient}, status=422)
    try:
        version = form.cleaned_data["version"] or 0
        patient_change(actor=actor, now=now, patient=patient, values=form.values(), version=version)
    except PatientChanged as changed:
        return _conflict(request, form, changed.current)
    messages.success(request, "The details are saved.")
    return HttpResponseRedirect(back_or(request, reverse("patient_page", args=[pk])))


def _conflict(request: HttpRequest, form: PatientForm, stored: Patient) -> HttpResponse:
    events = patient_changes_since(stored, form.cleaned_data["version"] or 0)
    context, merged = both_versions(form, stored, events)
    again = PatientForm(clinic=clinic_of(request), today=timezone.localdate(), initial=merged)
    context |= {"form": again, "patient": stored}
    return conflict_page(request, context, whose=stored, fields="clinic/_patient_fields.html")


@for_roles(*STAFF)
@require_POST
def consent(request: HttpRequest, pk: int) -> HttpResponse:
    """Record or withdraw the agreement to reminders (consents: "yes" or "no"). Anything else changes nothing."""
    patient = get_object_or_404(Patient, pk=pk, erased_at=None)
    word = request.POST.get("consents")
    if word not in {"yes", "no"}:
        messages.error(request, "Nothing was changed: say whether they agreed.")
    else:
        patient_consent(actor=actor_of(request), now=timezone.now(), patient=patient, consents=word == "yes")
        done = "The agreement to reminders is recorded." if word == "yes" else "No more reminders: withdrawn."
        messages.success(request, done)
    return HttpResponseRedirect(reverse("patient_page", args=[pk]))
