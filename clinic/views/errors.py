"""Pages for what went wrong. The 500 page needs no database, no static file and no session."""

from collections.abc import Iterable

from django.core.exceptions import DisallowedHost, RequestDataTooBig, TooManyFieldsSent
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse

from clinic.views.security_log import page_refused
from clinic.views.session import fields_of, keep_form, last_user

PATIENTS = ("/t/", "/u/")
"""What the addresses begin with that patients have: nothing there leads to the pages of staff."""
# Kept, but of no use to somebody who reads what is about to be sent.
NOT_SHOWN = ("once", "version", "back", "next", "alike_seen")


def form_expired(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form whose security token is old: everything typed is kept and can be sent again with a fresh one."""
    kept = fields_of(request.POST.lists())
    address = request.get_full_path()
    user = last_user(request)
    if not request.user.is_authenticated and user and request.path != reverse("log_in"):
        keep_form(request.session, address=address, fields=kept, user=user)
    context = {"kept": kept, "shown": shown_fields(kept), "address": address}
    return render(request, "clinic/form_expired.html", context, status=403)


def shown_fields(kept: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """The fields that tell a reader something, by their names in words."""
    return [
        (name.replace("_", " "), value) for name, value in kept if value and name.rpartition("-")[2] not in NOT_SHOWN
    ]


def not_read(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """What was sent could not be read as a form, or not whole. Asks nobody who sent it: that may be what failed."""
    if isinstance(exception, DisallowedHost):
        # The address that was asked for is not one of ours: nothing is led back to it.
        return HttpResponse("Bad request", status=400, content_type="text/plain")
    long = isinstance(exception, RequestDataTooBig | TooManyFieldsSent)
    page = render_to_string("clinic/not_read.html", {"too_long": long, "staff": not request.path.startswith(PATIENTS)})
    return HttpResponse(page, status=413 if long else 400)


def not_allowed(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    page_refused(request)
    return render(request, "clinic/not_allowed.html", status=403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return render(request, "clinic/not_found.html", status=404)
