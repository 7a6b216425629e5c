"""A person's record as a whole: erased, and how long records are kept."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.models import Clinic, Patient
from clinic.rules.retention import BOUNDS
from clinic.selectors import clinic_get
from clinic.services.clinic import SettingsChanged, changes_seal, clinic_change
from clinic.services.events import event_record
from clinic.views.access import actor_of, clinic_of, for_roles
from reminders.export.archive import person_export
from reminders.forms.keeping import KeepingForm
from reminders.models import CallItem
from reminders.rules.erasing import GOES, STAYS
from reminders.services.call_list import Call, call_open
from reminders.services.erasing import EraseRefused, erase_refusals, patient_erase
from reminders.services.retention import retention_due
from taping.models import Application


@for_roles("manager")
@require_http_methods(["GET", "HEAD", "POST"])
def patient_erase_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Says first what goes and what stays, and why it cannot be done yet; a post with the tick erases."""
    patient, now = get_object_or_404(Patient, pk=pk), timezone.now()
    missing = ""
    if request.method == "POST" and patient.erased_at is None:
        if request.POST.get("sure") == "yes":
            return _erased(request, patient)
        missing = "Nothing was erased: tick that it cannot be taken back."
    if request.method != "POST":
        event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
    context = {
        "patient": patient,
        "missing": missing,
        "goes": GOES,
        "stays": STAYS,
        "refusals": [] if patient.erased_at else erase_refusals(patient, now=now),
        "tapes": Application.objects.filter(patient=patient, ended_at=None),
    }
    return render(request, "reminders/patient_erase.html", context, status=422 if missing else 200)


def _erased(request: HttpRequest, patient: Patient) -> HttpResponse:
    try:
        patient_erase(actor=actor_of(request), now=timezone.now(), patient=patient)
    except EraseRefused as refused:
        messages.error(request, f"Nothing was erased. {refused}")
        return HttpResponseRedirect(reverse("patient_erase", args=[patient.pk]))
    messages.success(request, "The record is erased. What stays has no name.")
    return HttpResponseRedirect(reverse("patient_page", args=[patient.pk]))


@for_roles("therapist")
@require_POST
def patient_export(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one patient as a file. It holds notes and findings, so it is for those who may read them."""
    patient = get_object_or_404(Patient, pk=pk)
    file = person_export(actor=actor_of(request), now=timezone.now(), patient=patient, clinic=clinic_of(request))
    answer = HttpResponse(file, content_type="application/zip")
    answer.headers["Content-Disposition"] = f'attachment; filename="record-{pk}.zip"'
    return answer


@for_roles("manager")
@require_POST
def patient_erase_call(request: HttpRequest, pk: int) -> HttpResponse:
    """Put each tape that keeps the record from being erased on the call list, so that somebody ends it."""
    patient, now = get_object_or_404(Patient, pk=pk, erased_at=None), timezone.now()
    tapes = list(Application.objects.filter(patient=patient, ended_at=None))
    for tape in tapes:
        call = Call(patient=patient, application=tape, reason=CallItem.Reason.CALL_BACK, since=now)
        call_open(actor=actor_of(request), now=now, call=call)
    done = "The tape is on the call list. Erase the record once it has ended." if tapes else "No tape is on the skin."
    messages.success(request, done)
    return HttpResponseRedirect(reverse("patient_erase", args=[pk]))


@for_roles("manager")
@require_http_methods(["GET", "HEAD", "POST"])
def keeping(request: HttpRequest) -> HttpResponse:
    """How long things are kept. The first post shows what would go; the second saves, where it confirms just that."""
    clinic, now = clinic_of(request), timezone.now()
    stored = {name: getattr(clinic, name) for name in BOUNDS}
    form = KeepingForm(request.POST) if request.method == "POST" else KeepingForm(initial=stored)
    context: dict[str, Any] = {"form": form, "stored": stored}
    if request.method == "POST":
        if not form.is_valid():
            return render(request, "reminders/keeping.html", context, status=422)
        values, confirm = form.cleaned_data, request.POST.get("confirm")
        if confirm is not None:
            try:
                clinic_change(actor=actor_of(request), now=now, values=values, seal=confirm)
            except SettingsChanged:
                context["others"] = True
            else:
                messages.success(request, "The periods are saved. What is over goes in the night.")
                return HttpResponseRedirect(reverse("keeping"))
        clinic = clinic_get()
        context |= {"due": retention_due(_with(clinic, values), now=now), "confirm": changes_seal(clinic, values)}
    return render(request, "reminders/keeping.html", context)


def _with(clinic: Clinic, periods: dict[str, Any]) -> Clinic:
    """The clinic as it would be; never saved."""
    proposed = Clinic(time_zone=clinic.time_zone)
    for name, value in periods.items():
        setattr(proposed, name, value)
    return proposed
