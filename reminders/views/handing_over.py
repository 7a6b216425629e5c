"""One tape: what to tell the patient, which messages go and why, the code to scan, and its record afterwards."""

from typing import Any

import segno
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.services.events import event_record
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles, user_of
from reminders.rules.kinds import MessageKind
from reminders.selectors.record import application_get, messages_of_tape
from reminders.selectors.tapes import tape_row
from reminders.services.links import link_address, link_revoke
from taping.models import Application
from taping.services.applications import application_countersign
from taping.services.refusals import TapingRefused


@for_roles(*STAFF)
@require_safe
def application_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Handing over while the tape is on, its record afterwards. Cuts and notes are for those who tape."""
    tape = application_get(pk)
    if tape is None:
        raise Http404
    now, clinic, user = timezone.now(), clinic_of(request), user_of(request)
    event_record(actor=actor_of(request), verb="application.read", subject=tape, patient=tape.patient, now=now)
    sent = messages_of_tape(tape)
    context: dict[str, Any] = {
        "now": now,
        "clinic": clinic,
        "tape": tape,
        "row": tape_row(tape, now=now, zone=clinic.zone),
        "clinical": user.tapes,
        "strips": tape.plan.strips.all() if user.tapes else (),
        "sent": sent,
        "arrived": next((message for message in sent if message.kind == MessageKind.AFTERCARE), None),
        "may_sign": tape.supervisor_id == user.pk and tape.countersigned_at is None,
        "code": code_image(link_address(tape)),
    }
    return render(request, "reminders/application_page.html", context)


def code_image(address: str) -> str:
    """The address as a code to scan (ISO/IEC 18004, level M), an SVG in a data: address; black on white always."""
    return segno.make_qr(address, error="m").svg_data_uri(scale=4, border=4, dark="#000", light="#fff")


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
