"""Helpers: a parent or guardian of a minor, or whoever helps at home."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.forms.patients import HelperForm, initial_of
from clinic.models import Helper, Patient
from clinic.selectors import helper_changes_since
from clinic.services.events import event_record
from clinic.services.patients import HelperChanged, helper_change, helper_remove, helper_save
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.conflicts import both_versions, conflict_page
from clinic.views.posting import back_or, redirect_once


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def add(request: HttpRequest, pk: int) -> HttpResponse:
    patient = get_object_or_404(Patient, pk=pk, erased_at=None)
    clinic, now = clinic_of(request), timezone.now()
    if request.method != "POST":
        event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
        begin = {"relation": request.GET.get("relation"), "language": patient.language}
        form = HelperForm(clinic=clinic, initial=begin)
        return render(request, "clinic/helper_add.html", {"form": form, "patient": patient})
    form = HelperForm(request.POST, clinic=clinic)
    if not form.is_valid():
        return render(request, "clinic/helper_add.html", {"form": form, "patient": patient}, status=422)

    def make() -> str:
        helper_save(actor=actor_of(request), now=now, patient=patient, helper=Helper(**form.values()))
        messages.success(request, "The helper is added.")
        return back_or(request, reverse("patient_page", args=[patient.pk]))

    return redirect_once(request, now, make)


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    helper = get_object_or_404(Helper.objects.select_related("patient"), pk=pk)
    clinic, now, actor, patient = clinic_of(request), timezone.now(), actor_of(request), helper.patient
    context = {"patient": patient, "helper": helper}
    if request.method != "POST":
        event_record(actor=actor, verb="patient.read", subject=helper, patient=patient, now=now)
        form = HelperForm(clinic=clinic, initial=initial_of(helper, HelperForm))
        return render(request, "clinic/helper_change.html", {**context, "form": form})
    form = HelperForm(request.POST, clinic=clinic)
    if not form.is_valid():
        return render(request, "clinic/helper_change.html", {**context, "form": form}, status=422)
    try:
        version = form.cleaned_data["version"] or 0
        helper_change(actor=actor, now=now, helper=helper, values=form.values(), version=version)
    except HelperChanged as changed:
        return _conflict(request, form, changed.current)
    messages.success(request, "The helper's details are saved.")
    return HttpResponseRedirect(reverse("patient_page", args=[patient.pk]))


def _conflict(request: HttpRequest, form: HelperForm, stored: Helper) -> HttpResponse:
    events = helper_changes_since(stored, form.cleaned_data["version"] or 0)
    context, merged = both_versions(form, stored, events)
    form = HelperForm(clinic=clinic_of(request), initial=merged)
    context |= {"form": form, "helper": stored, "patient": stored.patient}
    return conflict_page(request, context, whose=stored, fields="clinic/_helper_fields.html")


@for_roles(*STAFF)
@require_POST
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove a helper; the patient's messages then go to the patient."""
    helper = get_object_or_404(Helper.objects.select_related("patient"), pk=pk)
    patient = helper.patient
    helper_remove(actor=actor_of(request), now=timezone.now(), helper=helper)
    messages.success(request, "The helper is removed. Messages go to the patient.")
    return HttpResponseRedirect(reverse("patient_page", args=[patient.pk]))
