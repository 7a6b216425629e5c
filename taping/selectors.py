"""Reads of screens, plans, tape and skin reports."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, QuerySet

from clinic.models import Patient, Visit
from clinic.selectors import day_range
from taping.models import Application, SkinReport, SkinScreen, Strip, StripPlan, TapeRoll
from taping.rules.clock import local_date
from taping.rules.wear import WearWindow
from taping.rules.wear_state import TapeState, WornTape, tape_state


def on_skin() -> QuerySet[Application]:
    """All tape that has not ended, the next one due first."""
    return Application.objects.filter(ended_at=None).select_related("patient", "helper").order_by("closes_on", "id")


def of_patient(patient: Patient) -> QuerySet[Application]:
    """A patient's tapings, the last one first, with their strips at hand."""
    strips = Prefetch("plan__strips", Strip.objects.order_by("position"))
    return Application.objects.filter(patient=patient).select_related("plan", "therapist").prefetch_related(strips)


def state_of(application: Application, *, now: datetime, zone: ZoneInfo) -> TapeState:
    """What the tape is doing at now (aware); days are counted in the clinic's zone."""
    applied_on = local_date(application.applied_at, zone)
    worn = WornTape(
        applied_at=application.applied_at,
        adhesion_minutes=application.adhesion_minutes,
        window=WearWindow(application.opens_on, application.closes_on, applied_on),
        removal_day=application.removal_day,
        ended=application.ended_at is not None,
    )
    return tape_state(now, worn, zone)


def last_like(patient: Patient, region: str, side: str) -> Application | None:
    """The last taping of this place, with plan and strips, for "again as last time"; None where there was none."""
    return of_patient(patient).filter(region=region, side=side).first()


def worn_at(patient: Patient, region: str, side: str) -> Application | None:
    """The tape that is on this place now."""
    return Application.objects.filter(patient=patient, region=region, side=side, ended_at=None).first()


def reports_open(patient: Patient) -> QuerySet[SkinReport]:
    """The patient's open skin reports, the newest first."""
    return SkinReport.objects.filter(patient=patient, closed_at=None).select_related("application")


def screen_of_today(patient: Patient, *, now: datetime, zone: ZoneInfo) -> SkinScreen | None:
    """The patient's latest screen of the clinic's day that now (aware) falls on: the person was asked in it already."""
    start, end = day_range(local_date(now, zone), zone)
    found = SkinScreen.objects.filter(patient=patient, made_at__gte=start, made_at__lt=end)
    return found.select_related("asked_by").order_by("-made_at", "-id").first()


def visit_of_today(patient: Patient, *, now: datetime, zone: ZoneInfo) -> Visit | None:
    """The patient's visit of the day that was not cancelled or missed; one that has arrived comes first."""
    start, end = day_range(local_date(now, zone), zone)
    here = (Visit.State.ARRIVED, Visit.State.BOOKED)
    visits = list(Visit.objects.filter(patient=patient, starts_at__gte=start, starts_at__lt=end, state__in=here))
    return min(visits, key=lambda visit: (visit.state != Visit.State.ARRIVED, visit.starts_at), default=None)


def screen_get(pk: int) -> SkinScreen | None:
    return SkinScreen.objects.select_related("patient", "asked_by", "visit").filter(pk=pk).first()


def plan_get(pk: int) -> StripPlan | None:
    """One plan with its screen, patient, helpers and strips."""
    strips = Prefetch("strips", Strip.objects.select_related("roll").order_by("position"))
    plans = StripPlan.objects.select_related("screen__patient", "screen__visit", "made_by", "saved_by")
    return plans.prefetch_related(strips, "screen__patient__helpers").filter(pk=pk).first()


def tape_of_plan(plan: StripPlan) -> Application | None:
    return Application.objects.filter(plan=plan).first()


def rolls_in_use() -> QuerySet[TapeRoll]:
    return TapeRoll.objects.filter(in_use=True)


def application_get(pk: int) -> Application | None:
    return Application.objects.select_related("patient", "therapist").filter(pk=pk).first()
