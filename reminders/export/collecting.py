"""Reads everything about one patient."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from clinic.models import Helper, Patient, Visit
from clinic.selectors.events import Sight, record_seen
from reminders.models import CallItem, Message
from taping.models import Application, PainScore, SkinReport, SkinScreen, Strip, StripEvent


@dataclass(frozen=True, slots=True)
class PersonRecord:
    """The rows about one patient, each list the oldest first; seen: who looked at or changed it, by day."""

    patient: Patient
    helpers: list[Helper]
    visits: list[Visit]
    screens: list[SkinScreen]
    tapes: list[Application]
    reports: list[SkinReport]
    messages: list[Message]
    calls: list[CallItem]
    seen: list[Sight]


def record_collect(patient: Patient, zone: ZoneInfo) -> PersonRecord:
    """In as many queries as there are lists, however long they are."""
    tapes = (
        Application.objects.filter(patient=patient)
        .select_related("therapist", "supervisor", "helper", "plan__screen")
        .prefetch_related(
            Prefetch("plan__strips", Strip.objects.select_related("roll").order_by("position")),
            Prefetch("plan__pain_scores", PainScore.objects.order_by("id")),
            Prefetch("strip_events", StripEvent.objects.select_related("strip").order_by("at", "id")),
            "corrections",
        )
        .order_by("applied_at", "id")
    )
    return PersonRecord(
        patient=patient,
        helpers=list(patient.helpers.all()),
        visits=list(Visit.objects.filter(patient=patient).select_related("therapist").order_by("starts_at", "id")),
        screens=list(SkinScreen.objects.filter(patient=patient).select_related("asked_by").order_by("made_at", "id")),
        tapes=list(tapes),
        reports=list(
            SkinReport.objects.filter(patient=patient)
            .select_related("application", "graded_by")
            .order_by("reported_at", "id")
        ),
        messages=list(Message.objects.filter(patient=patient).order_by("planned_for", "id")),
        calls=list(CallItem.objects.filter(patient=patient).order_by("since", "id")),
        seen=record_seen(patient, zone)[0],
    )
