"""A form whose security token is old: patients get a page of their own, staff the clinic's."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from clinic.views.access import clinic_of
from clinic.views.errors import form_expired
from clinic.views.session import fields_of
from reminders.models import Link
from reminders.services.links import link_find
from reminders.services.tape_now import tongue_for
from reminders.views.link import unknown_link
from reminders.views.link_context import public_context


def form_expired_for(request: HttpRequest, reason: str = "") -> HttpResponse:
    """What was ticked and typed is kept and can be sent with one press; nothing was saved."""
    if not request.path.startswith("/t/"):
        return form_expired(request, reason)
    clinic = clinic_of(request)
    link = link_find(token=request.path.split("/")[2], purpose=Link.Purpose.TAPE, now=timezone.now())
    if link is None:  # otherwise the page's language would tell a stranger that a guess was right
        return unknown_link(request)
    tongue = tongue_for(link.application, clinic)
    kept = fields_of(request.POST.lists())
    context = public_context(clinic, tongue) | {"kept": kept, "address": request.get_full_path()}
    return render(request, "reminders/link_expired_form.html", context, status=403)
