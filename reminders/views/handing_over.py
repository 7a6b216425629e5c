"""One tape: what to tell the patient, which messages go and why, the code to scan, and its record afterwards."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.services.events import event_record
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles, user_of
from reminders.forms.handing_over import HandOverForm
from reminders.selectors.record import application_get, messages_of_tape
from reminders.selectors.tapes import tape_row
from reminders.services.links import link_code, link_revoke
from reminders.views.hand_over_context import hand_over_context
from taping.models import Application
from taping.selectors import strip_events
from taping.services.applications import application_countersign
from taping.services.endings import look_at
from taping.services.refusals import TapingRefused
from taping.services.reopening import MOST_WHY, application_reopen_by_staff, staff_may_reopen

REOPENERS = ("front_desk", "therapist", "student")
"""Who may take back an ending: whoever may record one, here or on the call list."""


@for_roles(*STAFF)
@require_safe
def application_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Handing over while the tape is on, its record afterwards. Cuts and notes are for those who tape."""
    tape, now = _tape_or_404(pk), timezone.now()
    event_record(actor=actor_of(request), verb="application.read", subject=tape, patient=tape.patient, now=now)
    return _page(request, tape, now)


def page_again(request: HttpRequest, tape: Application, now: datetime, form: HandOverForm) -> HttpResponse:
    """The same page with a form that was refused."""
    return _page(request, tape, now, form=form)


def _tape_or_404(pk: int) -> Application:
    tape = application_get(pk)
    if tape is None:
        raise Http404
    return tape


def _page(
    request: HttpRequest,
    tape: Application,
    now: datetime,
    refused: TapingRefused | None = None,
    form: HandOverForm | None = None,
) -> HttpResponse:
    clinic, user = clinic_of(request), user_of(request)
    sent, reopens = messages_of_tape(tape), bool(user.roles.intersection(REOPENERS))
    context: dict[str, Any] = {
        "now": now,
        "clinic": clinic,
        "tape": tape,
        "row": tape_row(tape, now=now, zone=clinic.zone),
        "clinical": user.tapes,
        "strips": tape.plan.strips.all() if user.tapes else (),
        "strip_events": strip_events(tape) if user.tapes else (),
        "look_at": look_at(tape),
        "sent": sent,
        "may_sign": tape.supervisor_id == user.pk and tape.countersigned_at is None,
        "code": link_code(tape),
        "reopens": reopens,
        "may_reopen": reopens and staff_may_reopen(tape, now, clinic.zone),
        "most_why": MOST_WHY,
        "refused": refused,
    }
    if tape.ended_at is None:
        context |= hand_over_context(request, tape, now, sent=sent, form=form)
    wrong = refused or (form is not None and form.errors)
    return render(request, "reminders/application_page.html", context, status=422 if wrong else 200)


@for_roles(*STAFF)
@require_POST
def link_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Revoke the patient's address; the page then shows the new one."""
    tape = get_object_or_404(Application.objects.select_related("patient"), pk=pk)
    link_revoke(actor=actor_of(request), now=timezone.now(), application=tape)
    messages.add_message(
        request, messages.SUCCESS, "The old address is closed. This is the new one.", extra_tags="good"
    )
    return redirect("application_page", pk)


@for_roles("therapist")
@require_POST
def application_sign(request: HttpRequest, pk: int) -> HttpResponse:
    """The supervisor signs a student's taping."""
    tape = get_object_or_404(Application, pk=pk)
    try:
        application_countersign(actor=actor_of(request), now=timezone.now(), application=tape)
    except TapingRefused as refused:
        messages.error(request, refused.message)
    else:
        messages.success(request, "Signed.")
    return redirect("application_page", pk)


@for_roles(*REOPENERS)
@require_POST
def application_still_on(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back an ending recorded by mistake; what stands against it is said on the page, beside the button."""
    tape, now = _tape_or_404(pk), timezone.now()
    why = request.POST.get("why", "")
    try:
        application_reopen_by_staff(actor=actor_of(request), now=now, application=tape, why=why)
    except TapingRefused as refused:
        return _page(request, tape, now, refused)
    messages.success(request, "The ending is taken back: the tape counts as on, and its messages are planned anew.")
    return redirect("application_page", pk)
