"""The end of a tape, recorded at the clinic."""

from datetime import datetime

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clinic.services.events import event_record
from clinic.views.access import TAPERS, actor_of, for_roles
from clinic.views.posting import redirect_once
from taping import selectors
from taping.forms.endings import EndForm
from taping.models import Application
from taping.rules.removal import removal_steps
from taping.services.applications import application_end
from taping.services.refusals import TapingRefused
from taping.services.reports import report_save


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """Record how, when and by whom the tape came off; what is seen on the skin opens a report."""
    application, now = selectors.application_get(pk), timezone.now()
    if application is None:
        raise Http404
    if application.ended_at is not None:
        messages.info(request, "The end of this tape is recorded already; the first ending stands.")
        return HttpResponseRedirect(reverse("application_page", args=[pk]))
    form = EndForm(request.POST if request.method == "POST" else None, now=now)
    if form.is_valid():
        try:
            return redirect_once(request, now, lambda: _ended(request, application, form, now))
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    if request.method != "POST":
        patient = application.patient
        event_record(actor=actor_of(request), verb="patient.read", subject=application, patient=patient, now=now)
    steps = removal_steps()
    context = {"application": application, "form": form, "steps": steps, "applied_at": application.applied_at}
    return render(request, "taping/application_end.html", context, status=422 if form.errors else 200)


@transaction.atomic
def _ended(request: HttpRequest, application: Application, form: EndForm, now: datetime) -> str:
    actor, told = actor_of(request), form.cleaned_data
    ended = application_end(
        actor=actor,
        now=now,
        application=application,
        how=told["how"],
        ended_at=told["ended_at"],
        by=told["by"],
        note=told["note"].strip(),
    )
    if ended.ended_at != told["ended_at"]:
        messages.info(request, "Its end was recorded a moment ago by somebody else; the first ending stands.")
    else:
        messages.success(request, "The end of the tape is recorded.")
    if told["signs"]:
        report = report_save(
            actor=actor, now=now, application=ended, signs=told["signs"], words=told["note"], reported_by="therapist"
        )
        messages.warning(request, f"A skin report is open. {report.advice}")
    return reverse("application_page", args=[ended.pk])
