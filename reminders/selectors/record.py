"""What the patient page and the page of one tape show."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, IntegerField, OuterRef, Prefetch, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from clinic.models import Patient, Visit
from reminders.models import CallItem, Message
from reminders.selectors.leaving import with_refusals
from reminders.selectors.tapes import TapeRow, tape_rows, with_reaction
from taping.models import Application, PainScore, SkinReport, SkinScreen, Strip, StripEvent, StripPlan
from taping.rules.skin_application import PERMITS
from taping.rules.standing import ScreenSaid

MOST_TAPES = 40
MOST_MESSAGES = 15
MOST_LOOKED_AT = 90
MOST_SCREENS = 30
MOST_REPORTS = 100
NOT_ASKED = -1
BEGUN_SHOWN = timedelta(days=8)
"""How long a screen that led to nothing stands on the page; the call list asks about it at closing time."""


@dataclass(frozen=True, slots=True)
class TapeHistory:
    """A patient's tape: what is on the skin now, what was before (the last first), and whether more was before."""

    on_skin: list[TapeRow]
    before: list[TapeRow]
    more: bool


def tape_history(patient: Patient, *, now: datetime, zone: ZoneInfo) -> TapeHistory:
    """Applications with their strips at hand, in two queries; what was said of the pain and whether anything happened
    to a strip comes with the rows (pain_before, pain_after, pain_next, strips_changed). now: aware."""
    applications = (
        with_reaction(Application.objects.filter(patient=patient))
        .annotate(
            **{f"pain_{moment}": _said_last(moment) for moment in PainScore.Moment.values},
            strips_changed=Exists(StripEvent.objects.filter(application=OuterRef("pk"), taken_back_at=None)),
        )
        .select_related("patient", "plan", "therapist", "helper", "removal_visit")
        .prefetch_related(Prefetch("plan__strips", Strip.objects.order_by("position")))
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


def _said_last(moment: str) -> Subquery:
    """The last score of a moment; NOT_ASKED where nobody asked, None where nothing is on record."""
    rows = PainScore.objects.filter(plan=OuterRef("plan"), moment=moment).order_by("-id")
    return Subquery(rows.annotate(said=Coalesce("score", Value(NOT_ASKED))).values("said")[:1], IntegerField())


def screens_of(patient: Patient) -> list[SkinScreen]:
    """The patient's latest screens, the newest first.

    Each knows its open_plan (the id of strips begun and not finished, or None) and whether it has_plan at all.
    """
    plans = StripPlan.objects.filter(screen=OuterRef("pk"))
    begun = plans.filter(closed_at=None, application=None).values("pk")[:1]
    screens = SkinScreen.objects.annotate(open_plan=Subquery(begun), has_plan=Exists(plans))
    return list(screens.filter(patient=patient).order_by("-made_at", "-id")[:MOST_SCREENS])


def screens_said(rows: list[SkinScreen]) -> list[ScreenSaid]:
    """What these screens said."""
    return [ScreenSaid(row.made_at, row.region, row.side, row.answers, row.reasons) for row in rows]


def reports_of(patient: Patient) -> list[SkinReport]:
    """The patient's latest skin reports, the newest first."""
    rows = SkinReport.objects.filter(patient=patient).select_related("application", "graded_by")
    return list(rows.order_by("-reported_at", "-id")[:MOST_REPORTS])


def screens_unfinished(rows: list[SkinScreen], *, now: datetime) -> list[SkinScreen]:
    """Of these (the newest first) the last of each place, where strips were begun and are not on the skin, or nothing
    followed a screen that permits tape."""
    latest: dict[tuple[str, str], SkinScreen] = {}
    for row in rows:
        latest.setdefault((row.region, row.side), row)
    return [row for row in latest.values() if row.made_at > now - BEGUN_SHOWN and _is_unfinished(row)]


def _is_unfinished(row: SkinScreen) -> bool:
    if getattr(row, "open_plan", None):
        return True
    return row.outcome in PERMITS and not getattr(row, "has_plan", False) and row.not_taped_at is None


def visits_ahead(patient: Patient, *, now: datetime) -> QuerySet[Visit]:
    """Booked visits that have not ended yet, the next one first."""
    return Visit.objects.filter(patient=patient, state=Visit.State.BOOKED, ends_at__gt=now).select_related("therapist")


def calls_open(patient: Patient) -> QuerySet[CallItem]:
    return CallItem.objects.filter(patient=patient, closed_at=None).select_related("owner")


def messages_of(patient: Patient) -> tuple[Message | None, list[Message]]:
    """The message that goes next, and the patient's latest messages, what is still to come first; one query."""
    latest = Message.objects.filter(patient=patient).select_related("application", "visit")
    rows = list(latest.order_by("-planned_for", "-id")[:MOST_LOOKED_AT])
    coming = [row for row in rows if row.state in (Message.State.PLANNED, Message.State.CLAIMED)]
    return (coming[-1] if coming else None), rows[:MOST_MESSAGES]


def application_get(pk: int) -> Application | None:
    """One tape with the people and the visit that its page names, and whether a skin report about it is open."""
    return (
        with_refusals(with_reaction(Application.objects.filter(pk=pk)))
        .select_related("patient", "therapist", "supervisor", "helper", "removal_visit__therapist", "plan__screen")
        .select_related("ending_saved_by", "handed_over_by")
        .prefetch_related("patient__helpers")
        .first()
    )


def messages_of_tape(application: Application) -> list[Message]:
    """Every message about this tape and its removal visit, in the order in which they go or went."""
    own = Message.objects.filter(application=application)
    visit = Message.objects.filter(visit=application.removal_visit_id, application=None)
    found = own | visit if application.removal_visit_id else own
    return list(found.select_related("patient", "application", "joined_to").order_by("planned_for", "id"))


def reports_of_tape(application: Application) -> list[SkinReport]:
    """Every skin report about this tape, the first one first."""
    return list(SkinReport.objects.filter(application=application).order_by("reported_at", "id"))


def strip_events_of_tape(application: Application) -> list[StripEvent]:
    """What happened to its strips while it was worn, also what was taken back, in its order."""
    return list(StripEvent.objects.filter(application=application).select_related("strip"))
