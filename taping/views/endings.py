"""The end of a tape, recorded at the clinic, and the look at the skin half an hour later."""

from datetime import datetime

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_http_methods, require_POST

from clinic.services.events import event_record
from clinic.templatetags.words import clock
from clinic.views.access import TAPERS, actor_of, for_roles
from clinic.views.posting import back_or, redirect_once
from taping import selectors
from taping.forms.endings import EndForm
from taping.models import Application, PainScore
from taping.rules.removal import removal_steps
from taping.services.applications import application_end
from taping.services.endings import ending_describe, look_at, skin_look
from taping.services.pain import pain_record
from taping.services.refusals import TapingRefused
from taping.services.reports import report_save
from taping.views.pain import score_of


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """Record how, when and by whom the tape came off; what is seen on the skin opens a report."""
    application, now = tape_or_404(pk), timezone.now()
    if application.ended_at is not None:
        messages.info(request, "The end of this tape is recorded already; the first ending stands.")
        return HttpResponseRedirect(reverse("application_page", args=[pk]))
    asks_pain = not any(row.moment == PainScore.Moment.NEXT for row in selectors.pain_scores(application.plan))
    data = request.POST if request.method == "POST" else None
    form = EndForm(data, now=now, asks_pain=asks_pain, initial={"ended_at": _time_in(request)})
    if form.is_valid():
        try:
            return redirect_once(request, now, lambda: _ended(request, application, form, now))
        except TapingRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, refused.message)
    if request.method != "POST":
        patient = application.patient
        event_record(actor=actor_of(request), verb="patient.read", subject=application, patient=patient, now=now)
    context = {
        "application": application,
        "form": form,
        "steps": removal_steps(),
        "last_strip": request.GET.get("last_strip") == "yes",
    }
    return render(request, "taping/application_end.html", context, status=422 if form.errors else 200)


def tape_or_404(pk: int) -> Application:
    found = selectors.application_get(pk)
    if found is None:
        raise Http404
    return found


def _time_in(request: HttpRequest) -> datetime | None:
    """The moment in the query's "at", when the last strip came off; None where it is none."""
    try:
        moment = parse_datetime(request.GET.get("at", ""))
    except ValueError:
        return None
    return moment.astimezone(timezone.get_current_timezone()) if moment and moment.tzinfo else None


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
        ended = ending_describe(actor=actor, now=now, application=ended, details=form.details())
        look = look_at(ended)
        again = f" Look at the skin again at {clock(look)}." if look and look > now else ""
        messages.success(request, f"The end of the tape is recorded.{again}")
    if told.get("pain"):
        moment, score = PainScore.Moment.NEXT, score_of(told["pain"])
        pain_record(actor=actor, now=now, plan=application.plan, moment=moment, score=score)
    if not told["signs"]:
        return reverse("application_page", args=[ended.pk])
    report = report_save(
        actor=actor, now=now, application=ended, signs=told["signs"], words=told["note"], reported_by="therapist"
    )
    messages.warning(request, f"A skin report is open. {report.advice}")
    return reverse("report_page", args=[report.pk])


@for_roles(*TAPERS)
@require_POST
def skin_after(request: HttpRequest, pk: int) -> HttpResponse:
    """What is seen half an hour after the tape came off; a change leads into a skin report."""
    application, seen = tape_or_404(pk), request.POST.get("seen", "")
    page = reverse("application_page", args=[pk])
    try:
        looked = skin_look(actor=actor_of(request), now=timezone.now(), application=application, seen=seen)
    except TapingRefused as refused:
        messages.error(request, refused.message)
        return HttpResponseRedirect(back_or(request, page))
    if looked.skin_after == Application.SkinAfter.CHANGED:
        messages.warning(request, "A change is seen. Write down what it is; its advice follows at once.")
        return HttpResponseRedirect(reverse("report_new", args=[pk]))
    messages.success(request, f"The skin 30 minutes after: {looked.get_skin_after_display()}.")
    return HttpResponseRedirect(back_or(request, page))
