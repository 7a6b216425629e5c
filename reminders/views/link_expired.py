"""A form whose security token is old: patients get a page of their own, staff the clinic's."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from clinic.views.access import clinic_of
from clinic.views.errors import NOT_KEPT, form_expired
from reminders.views.link_context import public_context


def form_expired_for(request: HttpRequest, reason: str = "") -> HttpResponse:
    """What was ticked and typed is kept and can be sent with one press; nothing was saved."""
    if not request.path.startswith("/t/"):
        return form_expired(request, reason)
    kept = [
        (name, value)
        for name, values in request.POST.lists()
        if not any(word in name for word in NOT_KEPT)
        for value in values
    ]
    context = public_context(clinic_of(request)) | {"kept": kept, "address": request.get_full_path()}
    return render(request, "reminders/link_expired_form.html", context, status=403)
