"""From rows to the facts that planning needs, and to the names of their messages' subjects."""

from datetime import timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from clinic.models import Clinic, Patient, Visit
from reminders.rules.facts import ApplicationFacts, MessagePolicy, Removal, VisitFacts
from reminders.rules.kinds import MessageKind
from reminders.services.due_rows import DuePatient
from taping.models import Application, SkinReport

REMOVER_WAIT = timedelta(minutes=10)
"""How long the first message waits at most for the word who takes the tape off; then the clinic is named."""
STANDING_VISITS = (Visit.State.BOOKED, Visit.State.ARRIVED, Visit.State.DONE)


def subject_of(row: Application | Visit | Patient) -> str:
    """ "application:7", "visit:3" or "patient:2"."""
    return f"{row._meta.model_name}:{row.pk}"


def report_subject(report: SkinReport) -> str:
    """ "report:5": what the mail to the duty address is about."""
    return f"report:{report.pk}"


def patient_zone(patient: Patient | DuePatient, clinic: Clinic) -> ZoneInfo:
    """The zone whose clocks the patient reads. A name no zone has falls back to the clinic's: late beats never."""
    if not patient.time_zone:
        return clinic.zone
    try:
        return ZoneInfo(patient.time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        return clinic.zone


def policy_of(clinic: Clinic) -> MessagePolicy:
    """The clinic's choices; an optional kind it no longer knows is left out."""
    known = {kind.value for kind in MessageKind if kind.is_optional}
    chosen = frozenset(MessageKind(kind) for kind in clinic.optional_messages if kind in known)
    return MessagePolicy(clinic.quiet_from, clinic.quiet_until, chosen)


def removal_visit_of(application: Application) -> Visit | None:
    """The visit at which the tape comes off, as long as it stands."""
    visit = application.removal_visit
    return visit if visit is not None and visit.state in STANDING_VISITS else None


def application_facts(application: Application, clinic: Clinic) -> ApplicationFacts:
    """Facts of one application; patient and removal_visit are read from it. Raises ValueError for what cannot be."""
    visit = removal_visit_of(application)
    return ApplicationFacts(
        saved_at=application.saved_at,
        applied_at=application.applied_at,
        adhesion_minutes=application.adhesion_minutes,
        water_minutes=application.water_minutes,
        opens_on=application.opens_on,
        closes_on=application.closes_on,
        removal_day=application.removal_day,
        clinic_zone=clinic.zone,
        removal=Removal(application.removal),
        removal_visit_starts_at=visit.starts_at if visit else None,
        first_application=application.first_application,
        caution=application.caution,
        ended_at=application.ended_at,
        ended_how=application.ended_how or None,
        patient_zone=patient_zone(application.patient, clinic),
        remover_by=application.saved_at + REMOVER_WAIT if application.remover_open else None,
    )


def visit_facts(visit: Visit, clinic: Clinic) -> VisitFacts:
    """Facts of one visit that is booked or cancelled; its sequence counts the moves."""
    cancelled = visit.state == Visit.State.CANCELLED
    moved = visit.sequence > 0 and not cancelled
    return VisitFacts(
        starts_at=visit.starts_at,
        booked_at=visit.created_at,
        clinic_zone=clinic.zone,
        changed_at=visit.changed_at if moved else None,
        changes=visit.sequence if moved else 0,
        cancelled_at=visit.changed_at if cancelled else None,
        patient_zone=patient_zone(visit.patient, clinic),
    )
