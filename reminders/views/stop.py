"""Stopping messages: by a person on the page, or by the mail program in one click (RFC 8058)."""

from datetime import datetime
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from clinic.models import Clinic, Patient
from clinic.rules.tongue import tongue_of
from clinic.selectors import recipient_of
from clinic.views.access import clinic_of, patient_actor
from reminders.models import Link
from reminders.services.links import link_find
from reminders.services.stop_links import stop_link_find
from reminders.services.stopping import stop_by_link
from reminders.views.link import unknown_link
from reminders.views.link_context import comes_off, public_context


@login_not_required
@csrf_exempt  # RFC 8058, 3.2: the mail program posts without cookies or any other context
@require_http_methods(["GET", "HEAD", "POST"])
def stop_page(request: HttpRequest, token: str) -> HttpResponse:
    """A get shows a form, since mail gateways open links; a post stops the messages, however often it comes."""
    now, clinic = timezone.now(), clinic_of(request)
    found = _found(token, clinic, now)
    if found is None:
        return unknown_link(request)
    patient, tape = found
    # RFC 8058, 3.1: one click is this body and nothing else; any other post gets the form.
    stopped = request.method == "POST" and request.POST.get("List-Unsubscribe") == "One-Click"
    if stopped:
        stop_by_link(actor=patient_actor(request), now=now, patient=patient)
    tongue = tongue_of(clinic.speaks(recipient_of(patient).language))
    context: dict[str, Any] = public_context(clinic, tongue) | {"token": token, "stopped": stopped, "tape": tape}
    return render(request, "reminders/stop_page.html", context)


def _found(token: str, clinic: Clinic, now: datetime) -> tuple[Patient, str] | None:
    """Whose messages the token stops, and what to say of the tape it was about; a mail about a visit had none."""
    link = link_find(token=token, purpose=Link.Purpose.STOP, now=now)
    if link is not None:
        return link.application.patient, comes_off(link.application, clinic=clinic, now=now)
    visit = stop_link_find(token=token, now=now)
    return None if visit is None else (visit.patient, "")
