"""Pages for what went wrong. The 500 page needs no database, no static file and no session."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

# Kept, but of no use to somebody who reads what is about to be sent.
NOT_SHOWN = ("once", "version", "back", "next", "alike_seen")
# What must never be written back into a page when a form is offered again.
NOT_KEPT = ("csrfmiddlewaretoken", "password")


def form_expired(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form whose security token is old: everything typed is kept and can be sent again with a fresh one."""
    kept = [
        (name, value)
        for name, values in request.POST.lists()
        if not any(word in name for word in NOT_KEPT)
        for value in values
    ]
    shown = [
        (name.replace("_", " "), value) for name, value in kept if value and name.rpartition("-")[2] not in NOT_SHOWN
    ]
    context = {"kept": kept, "shown": shown, "address": request.get_full_path()}
    return render(request, "clinic/form_expired.html", context, status=403)


def not_allowed(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return render(request, "clinic/not_allowed.html", status=403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return render(request, "clinic/not_found.html", status=404)
