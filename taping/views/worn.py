"""What happens while tape is worn: to a strip, or to the skin, as staff see it or are told it."""

from datetime import datetime
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clinic.services.events import event_record
from clinic.templatetags.words import clock
from clinic.views.access import TAPERS, actor_of, clinic_of, for_roles
from clinic.views.posting import redirect_once
from taping import selectors
from taping.forms.endings import ReportNewForm, StripEventForm
from taping.models import Application, StripEvent
from taping.rules.wear import adhesion_ends
from taping.services.refusals import TapingRefused
from taping.services.reports import report_save
from taping.services.strip_events import (
    LastStrip,
    StripHappening,
    positions_worn,
    strip_event_record,
    strip_event_take_back,
)
from taping.views.endings import tape_or_404


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def strips(request: HttpRequest, pk: int) -> HttpResponse:
    """An edge trimmed, one strip off or replaced. The last strip off ends the tape, after asking."""
    application, now = tape_or_404(pk), timezone.now()
    if application.ended_at is not None:
        messages.info(request, "This tape is off already; nothing more happens to its strips.")
        return HttpResponseRedirect(reverse("application_page", args=[pk]))
    listed = list(application.plan.strips.order_by("position"))
    form = StripEventForm(
        request.POST if request.method == "POST" else None,
        now=now,
        strips=listed,
        worn=positions_worn(application),
    )
    if form.is_valid():
        happening = form.happening()
        try:
            return redirect_once(request, now, lambda: _recorded(request, application, happening, now))
        except LastStrip:
            query = urlencode({"last_strip": "yes", "at": happening.at.isoformat()})
            return HttpResponseRedirect(f"{reverse('application_end', args=[pk])}?{query}")
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    if request.method != "POST":
        patient = application.patient
        event_record(actor=actor_of(request), verb="patient.read", subject=application, patient=patient, now=now)
    context = {"application": application, "form": form, "happened": selectors.strip_events(application)}
    return render(request, "taping/strip_events.html", context, status=422 if form.errors else 200)


def _recorded(request: HttpRequest, application: Application, happening: StripHappening, now: datetime) -> str:
    actor = actor_of(request)
    row = strip_event_record(actor=actor, now=now, application=application, happening=happening)
    rest = ""
    if row.what == StripEvent.What.STRIP_REPLACED:
        ends = adhesion_ends(row.at, application.adhesion_minutes)
        wait = f" No exercise before {clock(ends)}, while it sets." if ends > now else ""
        rest = f"{wait} The tape's days count on from the day it went on."
    messages.success(request, f"{row.get_what_display()}: recorded.{rest}")
    return reverse("application_page", args=[application.pk])


@for_roles(*TAPERS)
@require_POST
def strip_take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """What was recorded by mistake no longer counts; it stays readable with the reason."""
    happened = selectors.strip_event_get(pk)
    if happened is None:
        raise Http404
    why = request.POST.get("why", "")
    try:
        strip_event_take_back(actor=actor_of(request), now=timezone.now(), happened=happened, why=why)
    except TapingRefused as refused:
        messages.error(request, refused.message)
    else:
        messages.success(request, "Taken back.")
    return HttpResponseRedirect(reverse("strip_events", args=[happened.application_id]))


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def report_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down what is seen on the skin of a tape, on or off; the report's page says what to do."""
    application, now = tape_or_404(pk), timezone.now()
    form = ReportNewForm(request.POST if request.method == "POST" else None)
    if form.is_valid():

        def make() -> str:
            said = form.cleaned_data
            report = report_save(
                actor=actor_of(request),
                now=now,
                application=application,
                signs=said["signs"],
                words=said["words"],
                reported_by="therapist",
            )
            messages.warning(request, f"The skin report is open. {report.advice}")
            return reverse("report_page", args=[report.pk])

        return redirect_once(request, now, make)
    if request.method != "POST":
        patient = application.patient
        event_record(actor=actor_of(request), verb="patient.read", subject=application, patient=patient, now=now)
    context = {"application": application, "form": form, "clinic": clinic_of(request)}
    return render(request, "taping/report_new.html", context, status=422 if form.errors else 200)
