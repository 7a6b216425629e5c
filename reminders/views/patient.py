"""The patient page: may I tape, what is on the skin, what comes next, what happened before."""

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

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
    reports_of,
    screens_of,
    screens_said,
    screens_unfinished,
    tape_history,
    visits_ahead,
)
from taping import selectors as taping
from taping.models import Application, SkinReport
from taping.rules.clock import local_date
from taping.rules.standing import standing
from taping.services.endings import look_at

NEWEST = 5
"""How many ended tapings are open to see; the older ones are folded away."""
NO_REACTION = ("", "no_change", "not_seen")


@for_roles(*STAFF)
@require_safe
def patient_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Who this is and what is on the skin; cautions, cuts, notes and findings only for those who tape."""
    patient = get_object_or_404(Patient.objects.select_related("consent_asked_by").prefetch_related("helpers"), pk=pk)
    now, clinic, user = timezone.now(), clinic_of(request), user_of(request)
    event_record(actor=actor_of(request), verb="patient.read", subject=patient, patient=patient, now=now)
    next_message, sent = messages_of(patient)
    today, history = local_date(now, clinic.zone), tape_history(patient, now=now, zone=clinic.zone)
    context: dict[str, Any] = {
        "patient": patient,
        "clinic": clinic,
        "today": today,
        "age": age_on(patient.born, today) if patient.born else None,
        "clinical": user.tapes,
        "now": now,
        "history": history,
        "newest": history.before[:NEWEST],
        "older": history.before[NEWEST:],
        "sent": sent,
        "next_message": next_message,
        "visits": visits_ahead(patient, now=now),
        "calls": calls_open(patient),
    }
    if user.tapes:
        context |= _clinical(patient, history, now, today, clinic.zone)
    return render(request, "reminders/patient_page.html", context)


def _clinical(patient: Patient, history: TapeHistory, now: datetime, today: date, zone: ZoneInfo) -> dict[str, Any]:
    screens, reports = screens_of(patient), reports_of(patient)
    places = _newest_of_each_place(history)
    return {
        "screened": bool(screens),
        "cautions": standing(screens_said(screens)),
        "drafts": taping.drafts_open(patient, now=now, zone=zone),
        "unfinished": screens_unfinished(screens, now=now),
        "reports_by_tape": _by_tape(reports),
        "reports": [report for report in reports if report.closed_at is None],
        "reactions": [report for report in reports if report.closed_at and report.kind not in NO_REACTION],
        "follow_ups": [report for report in reports if _looked_at_again(report, today)],
        "looks": _looks(history, today, zone),
        "again": places,
        "again_first": next(iter(places), None),
        "asks_pain": _asks_pain(history, places),
    }


def _looked_at_again(report: SkinReport, today: date) -> bool:
    return report.follow_up_on is not None and (report.closed_at is None or report.follow_up_on >= today)


def _newest_of_each_place(history: TapeHistory) -> list[Application]:
    """The tapings that are offered again: the last of each place; its skin is screened anew."""
    newest: dict[tuple[str, str], Application] = {}
    for row in history.before:
        newest.setdefault((row.application.region, row.application.side), row.application)
    return list(newest.values())


def _looks(history: TapeHistory, today: date, zone: ZoneInfo) -> list[tuple[Application, datetime]]:
    """Tape that came off today and whose skin nobody has looked at again yet, with the time to look."""
    off = [(row.application, row.application.ended_at, look_at(row.application)) for row in history.before]
    return [(tape, look) for tape, ended, look in off if ended and look and local_date(ended, zone) == today]


def _asks_pain(history: TapeHistory, places: list[Application]) -> list[int]:
    """Tape whose pain at the next visit is still open: the last of each place, where no tape is on it again."""
    worn = {(row.application.region, row.application.side) for row in history.on_skin}
    waiting = [tape for tape in places if (tape.region, tape.side) not in worn]
    return [tape.pk for tape in waiting if getattr(tape, "pain_next", None) is None]


def _by_tape(reports: list[SkinReport]) -> dict[int | None, list[SkinReport]]:
    found: dict[int | None, list[SkinReport]] = {}
    for report in reports:
        found.setdefault(report.application_id, []).append(report)
    return found
