"""The patient page: may I tape, what is on the skin, what happened before."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.models import Patient
from clinic.rules.ages import age_on
from clinic.services.events import event_record
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles, user_of
from reminders.selectors.record import (
    TapeHistory,
    calls_open,
    messages_of,
    reports_open,
    screens_standing,
    tape_history,
    visits_ahead,
)
from taping.models import Application
from taping.rules.clock import local_date


@for_roles(*STAFF)
@require_safe
def patient_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Who this is and what is on the skin; cautions, cuts, notes and findings only for those who tape."""
    patient = get_object_or_404(Patient.objects.prefetch_related("helpers"), pk=pk)
    now, clinic, user = timezone.now(), clinic_of(request), user_of(request)
    event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
    today, history = local_date(now, clinic.zone), tape_history(patient, now=now, zone=clinic.zone)
    context: dict[str, Any] = {
        "patient": patient,
        "clinic": clinic,
        "today": today,
        "age": age_on(patient.born, today) if patient.born else None,
        "clinical": user.tapes,
        "now": now,
        "history": history,
        "again": _last_ended(history),
        "sent": messages_of(patient),
        "visits": visits_ahead(patient, now=now),
        "calls": calls_open(patient),
    }
    if user.tapes:
        screens = screens_standing(patient)
        cautions = [screen for screen in screens if screen.reasons]
        context |= {"screened": bool(screens), "cautions": cautions, "reports": reports_open(patient)}
    return render(request, "reminders/patient_page.html", context)


def _last_ended(history: TapeHistory) -> Application | None:
    """The tape whose place and plan are offered again; its skin is screened anew."""
    return history.before[0].application if history.before else None
