"""Stopping messages: by a person on the page, or by the mail program in one click (RFC 8058)."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from clinic.services.events import Actor
from clinic.views.access import clinic_of
from reminders.models import Link
from reminders.services.links import link_find
from reminders.services.stopping import stop_by_link
from reminders.views.link import unknown_link
from reminders.views.link_context import comes_off, public_context


@login_not_required
@csrf_exempt  # RFC 8058, 3.2: the mail program posts without cookies or any other context
@require_http_methods(["GET", "HEAD", "POST"])
def stop_page(request: HttpRequest, token: str) -> HttpResponse:
    """A get shows a form, since mail gateways open links; a post stops the messages, however often it comes."""
    now, clinic = timezone.now(), clinic_of(request)
    link = link_find(token=token, purpose=Link.Purpose.STOP, now=now)
    if link is None:
        return unknown_link(request)
    # RFC 8058, 3.1: one click is this body and nothing else; any other post gets the form.
    stopped = request.method == "POST" and request.POST.get("List-Unsubscribe") == "One-Click"
    if stopped:
        actor = Actor(word="patient link", origin=request.META.get("REMOTE_ADDR"))
        stop_by_link(actor=actor, now=now, application=link.application)
    context: dict[str, Any] = public_context(clinic) | {"token": token, "stopped": stopped}
    context["tape"] = comes_off(link.application, clinic=clinic, now=now)
    return render(request, "reminders/stop_page.html", context)
