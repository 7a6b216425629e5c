"""Correcting the record of a tape: the old words stay beside the new ones."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clinic.services.events import event_record
from clinic.views.access import TAPERS, actor_of, clinic_of, for_roles
from clinic.views.posting import redirect_once
from taping import selectors
from taping.forms.corrections import CorrectionForm
from taping.models import Application
from taping.services.applications import application_change
from taping.services.corrections import RecordChanged
from taping.services.refusals import TapingRefused

FIELD_OF = {"applied_at": "time", "late_reason": "why", "shorten_why": "why"}
"""Where a refusal of the service stands in this form, when the names differ."""


@for_roles(*TAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Time, side, posture, strips and an earlier last day of a tape on record; every change keeps what it changed."""
    found, now = selectors.application_record(pk), timezone.now()
    if found is None:
        raise Http404
    tape = found
    form = CorrectionForm(request.POST if request.method == "POST" else None, tape=tape, clinic=clinic_of(request))
    conflict = None
    if form.is_valid():
        try:
            return redirect_once(request, now, lambda: _saved(request, found, form))
        except RecordChanged as changed:
            form.add_error(None, changed.message)
            conflict, tape = changed, changed.current
        except TapingRefused as refused:
            name = FIELD_OF.get(refused.field, refused.field)
            form.add_error(name if name in form.fields else None, refused.message)
    if request.method != "POST":
        event_record(actor=actor_of(request), verb="application.read", subject=tape, patient=tape.patient, now=now)
    context: dict[str, Any] = {
        "tape": tape,
        "form": form,
        "clinic": clinic_of(request),
        "corrections": selectors.corrections_of(tape),
        "conflict": conflict,
        "differing": form.differing(tape) if conflict else [],
    }
    return render(request, "taping/application_correct.html", context, status=422 if form.errors else 200)


def _saved(request: HttpRequest, tape: Application, form: CorrectionForm) -> str:
    values = form.values()
    if not values:
        messages.info(request, "Nothing was changed: everything is as it was on record.")
        return reverse("application_page", args=[tape.pk])
    application_change(
        actor=actor_of(request),
        now=timezone.now(),
        application=tape,
        values=values,
        why=form.cleaned_data["why"],
        version=form.cleaned_data["version"],
    )
    messages.success(request, "The record is corrected; what it said before stays below it. Messages are planned anew.")
    return reverse("application_page", args=[tape.pk])
