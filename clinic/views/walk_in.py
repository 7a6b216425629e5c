"""Walk-in: from a name to the skin screen on one page."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clinic.forms.walk_in import WalkInForm
from clinic.models import Patient
from clinic.rules.ages import is_minor
from clinic.selectors import patients_alike, therapists
from clinic.services.patients import patient_add
from clinic.services.visits import visit_walk_in
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles, user_of
from clinic.views.posting import redirect_once, text_in


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def walk_in(request: HttpRequest) -> HttpResponse:
    """Somebody alike is shown first: "it is this one" takes that patient, a second look adds somebody new."""
    now, user = timezone.now(), user_of(request)
    today, staff = timezone.localdate(now), list(therapists())
    begin = {"therapist": str(user.pk) if user.is_therapist else "", "full_name": text_in(request, "name")}
    clinic = clinic_of(request)
    if request.method != "POST":
        form = WalkInForm(clinic=clinic, today=today, staff=staff, initial=begin)
        return render(request, "clinic/walk_in.html", {"form": form, "today": today})
    form = WalkInForm(request.POST, clinic=clinic, today=today, staff=staff)
    alike: list[Patient] = []
    if form.is_valid():
        alike = patients_alike(form.person())
        chosen = next((one for one in alike if str(one.pk) == request.POST.get("patient")), None)
        seen = set(form.cleaned_data["alike_seen"].split(","))
        if chosen is not None or all(str(one.pk) in seen for one in alike):
            return redirect_once(request, now, lambda: _walked_in(request, form, chosen, now))
    ids = ",".join(str(one.pk) for one in alike)
    context = {"form": form, "alike": alike, "alike_ids": ids, "today": today}
    return render(request, "clinic/walk_in.html", context, status=422)


def _walked_in(request: HttpRequest, form: WalkInForm, chosen: Patient | None, now: datetime) -> str:
    actor, therapist = actor_of(request), form.therapist()
    patient = chosen or patient_add(actor=actor, now=now, values=form.person())
    visit = visit_walk_in(actor=actor, now=now, patient=patient, therapist=therapist)
    if visit is None:
        messages.info(
            request,
            f"{therapist.full_name} is in another visit now, and the diary holds one at a time: this walk-in has no "
            "line of its own in the diary. The screen and the tape are recorded all the same.",
        )
    else:
        end = timezone.localtime(visit.ends_at)
        messages.success(request, f"{patient.full_name} is here, with {therapist.full_name}, until {end:%H:%M}.")
    if patient.born and is_minor(patient.born, timezone.localdate(now)):
        messages.warning(request, "This patient is a minor: add the parent or guardian before taping.")
    name = "screen_new" if user_of(request).tapes else "patient_page"
    return reverse(name, args=[patient.pk])
