"""No sheet can be made on this computer: what staff can do about it, and what a patient can."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from clinic.views.access import clinic_of
from reminders.models import Link
from reminders.services.links import link_find
from reminders.services.tape_now import tongue_for
from reminders.views.link_context import public_context

PACKAGES = (
    "libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0", "fonts-dejavu-core", "fonts-dejavu-extra",
)  # fmt: skip
"""Debian's names; the README lists the same."""


def no_paper(request: HttpRequest) -> HttpResponse:
    """503 (RFC 9110, 15.6.4): it is the computer that cannot, and later it may."""
    if not request.path.startswith("/t/"):
        return render(request, "reminders/no_paper.html", {"packages": " ".join(PACKAGES)}, status=503)
    clinic, token = clinic_of(request), request.path.split("/")[2]
    link = link_find(token=token, purpose=Link.Purpose.TAPE, now=timezone.now())
    context = public_context(clinic, tongue_for(link.application, clinic) if link else None) | {"token": token}
    return render(request, "reminders/link_no_paper.html", context, status=503)
