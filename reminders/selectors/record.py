"""What the patient page and the page of one tape show."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import F, Prefetch, QuerySet

from clinic.models import Patient, Visit
from reminders.models import CallItem, Message
from reminders.selectors.tapes import TapeRow, tape_rows, with_reaction
from taping.models import Application, SkinReport, SkinScreen, Strip

MOST_TAPES = 40
MOST_MESSAGES = 15
MOST_SCREENS = 30


@dataclass(frozen=True, slots=True)
class TapeHistory:
    """A patient's tape: what is on the skin now, what was before (the last first), and whether more was before."""

    on_skin: list[TapeRow]
    before: list[TapeRow]
    more: bool


def tape_history(patient: Patient, *, now: datetime, zone: ZoneInfo) -> TapeHistory:
    """Applications with their strips and skin reports at hand, in three queries. now: aware."""
    applications = (
        with_reaction(Application.objects.filter(patient=patient))
        .select_related("patient", "plan", "therapist", "helper", "removal_visit")
        .prefetch_related(
            Prefetch("plan__strips", Strip.objects.order_by("position")),
            Prefetch("skin_reports", SkinReport.objects.select_related("graded_by")),
        )
    )
    # Tape that is on the skin is shown however long the history is; databases differ in where they put the empty.
    worn_first = applications.order_by(F("ended_at").desc(nulls_first=True), "-applied_at", "-id")
    rows = tape_rows(worn_first[: MOST_TAPES + 1], now=now, zone=zone)
    on_skin = [row for row in rows if row.application.ended_at is None]
    before = sorted(
        (row for row in rows if row.application.ended_at is not None),
        key=lambda row: row.application.applied_at,
        reverse=True,
    )
    return TapeHistory(on_skin, before[:MOST_TAPES], len(rows) > MOST_TAPES)


def screens_standing(patient: Patient) -> list[SkinScreen]:
    """The last skin screen of each place, the newest first, from the patient's latest screens."""
    latest: dict[tuple[str, str], SkinScreen] = {}
    for screen in SkinScreen.objects.filter(patient=patient).order_by("-made_at", "-id")[:MOST_SCREENS]:
        latest.setdefault((screen.region, screen.side), screen)
    return list(latest.values())


def reports_open(patient: Patient) -> QuerySet[SkinReport]:
    """The open skin reports of a patient, the newest first."""
    return SkinReport.objects.filter(patient=patient, closed_at=None).select_related("application")


def visits_ahead(patient: Patient, *, now: datetime) -> QuerySet[Visit]:
    """Booked visits that have not ended yet, the next one first."""
    return Visit.objects.filter(patient=patient, state=Visit.State.BOOKED, ends_at__gt=now).select_related("therapist")


def calls_open(patient: Patient) -> QuerySet[CallItem]:
    return CallItem.objects.filter(patient=patient, closed_at=None).select_related("owner")


def messages_of(patient: Patient) -> list[Message]:
    """The patient's latest messages, what is still to come first."""
    rows = Message.objects.filter(patient=patient).select_related("application", "visit")
    return list(rows.order_by("-planned_for", "-id")[:MOST_MESSAGES])


def application_get(pk: int) -> Application | None:
    """One tape with the people and the visit that its page names, and whether a skin report about it is open."""
    return (
        with_reaction(Application.objects.filter(pk=pk))
        .select_related("patient", "therapist", "supervisor", "helper", "removal_visit__therapist", "plan__screen")
        .select_related("ending_saved_by")
        .first()
    )


def messages_of_tape(application: Application) -> list[Message]:
    """Every message about this tape and its removal visit, in the order in which they go or went."""
    own = Message.objects.filter(application=application)
    visit = Message.objects.filter(visit=application.removal_visit_id, application=None)
    found = own | visit if application.removal_visit_id else own
    return list(found.select_related("patient", "application", "joined_to").order_by("planned_for", "id"))
