"""Reads of screens, plans, tape and skin reports."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from clinic.models import Clinic, Patient, User, Visit
from clinic.selectors import clinic_get, day_range
from taping.models import (
    Application,
    Correction,
    PainScore,
    ScreenDraft,
    SkinReport,
    SkinScreen,
    Strip,
    StripEvent,
    StripPlan,
    TapeRoll,
)
from taping.rules.clock import local_date
from taping.rules.late_entry import MOST_DAYS_BACK
from taping.rules.lengths import Unit
from taping.rules.skin import Answer, Question
from taping.rules.skin_application import PERMITS
from taping.rules.skin_person import person_changed
from taping.rules.wear import WearWindow
from taping.rules.wear_state import TapeState, WornTape, tape_state


def unit_of(clinic: Clinic) -> Unit:
    """The unit in which the clinic reads and writes lengths."""
    return Unit.INCH if clinic.units == Clinic.Units.INCHES else Unit.CM


def on_skin() -> QuerySet[Application]:
    """All tape that has not ended, the next one due first."""
    return Application.objects.filter(ended_at=None).select_related("patient", "helper").order_by("closes_on", "id")


def of_patient(patient: Patient) -> QuerySet[Application]:
    """A patient's tapings, the last one first, with their strips at hand."""
    strips = Prefetch("plan__strips", Strip.objects.select_related("roll").order_by("position"))
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


def taped_before(patient: Patient) -> list[Application]:
    """The last taping of each place that bears no tape now, with its plan; the latest first."""
    newest: dict[tuple[str, str], Application] = {}
    worn = set()
    for tape in Application.objects.filter(patient=patient).select_related("plan").order_by("-applied_at", "-id"):
        place = (tape.region, tape.side)
        newest.setdefault(place, tape)
        if tape.ended_at is None:
            worn.add(place)
    return [tape for place, tape in newest.items() if place not in worn]


def worn_at(patient: Patient, region: str, side: str) -> Application | None:
    """The tape that is on this place now."""
    return Application.objects.filter(patient=patient, region=region, side=side, ended_at=None).first()


def wear_window_of(patient: Patient) -> tuple[date, date, date, bool] | None:
    """Of the tape that is on and comes off first: first day, last day, day of application, and whether the clinic
    takes it off and the visit for that is still to be booked. None without tape."""
    tape = Application.objects.filter(patient=patient, ended_at=None).order_by("closes_on", "id").first()
    if tape is None:
        return None
    to_book = tape.removal == Application.Removal.CLINIC and tape.removal_visit_id is None
    return tape.opens_on, tape.closes_on, local_date(tape.applied_at, clinic_get().zone), to_book


def reports_open(patient: Patient) -> QuerySet[SkinReport]:
    """The patient's open skin reports, the newest first."""
    return SkinReport.objects.filter(patient=patient, closed_at=None).select_related("application")


def reports_open_at(patient: Patient, region: str, side: str) -> QuerySet[SkinReport]:
    """The open skin reports of tape on this place: no new tape goes there before they are closed."""
    return reports_open(patient).filter(application__region=region, application__side=side)


def screen_of_today(patient: Patient, *, now: datetime, zone: ZoneInfo) -> SkinScreen | None:
    """The patient's latest screen of the clinic's day that now (aware) falls on: the person was asked in it already."""
    start, end = day_range(local_date(now, zone), zone)
    found = SkinScreen.objects.filter(patient=patient, made_at__gte=start, made_at__lt=end)
    return found.select_related("asked_by").order_by("-made_at", "-id").first()


def person_asked(patient: Patient, *, visit: Visit | None, now: datetime, zone: ZoneInfo) -> SkinScreen | None:
    """The screen in which the person was asked last, this clinic's day and this visit (or, as it, outside of any)."""
    start, end = day_range(local_date(now, zone), zone)
    found = SkinScreen.objects.filter(patient=patient, visit=visit, made_at__gte=start, made_at__lt=end)
    return found.select_related("asked_by").order_by("-made_at", "-id").first()


@dataclass(frozen=True, slots=True)
class Outdated:
    """Why a screen no longer speaks for its place: it was screened again, or the person answered otherwise since.

    by: the later screen, the last one where there are several; changed: the questions, empty where it was screened
    again.
    """

    by: SkinScreen
    changed: tuple[Question, ...] = ()


def screens_of_day(patient: Patient, moment: datetime, zone: ZoneInfo) -> list[SkinScreen]:
    """The patient's screens of the clinic's day that moment (aware) falls on, the first asked first."""
    start, end = day_range(local_date(moment, zone), zone)
    found = SkinScreen.objects.filter(patient=patient, made_at__gte=start, made_at__lt=end)
    return list(found.select_related("asked_by").order_by("made_at", "id"))


def outdated(screen: SkinScreen, *, zone: ZoneInfo, until: datetime | None = None) -> Outdated | None:
    """Whether screens asked later that day, up to until (aware), leave this one out of date; None where they do not."""
    # Mostly none was; reading the day's screens whole costs five times as much.
    if not SkinScreen.objects.filter(patient=screen.patient_id, made_at__gt=screen.made_at).exists():
        return None
    return outdated_among(screen, screens_of_day(screen.patient, screen.made_at, zone), until=until)


def outdated_among(
    screen: SkinScreen, of_day: Iterable[SkinScreen], *, until: datetime | None = None
) -> Outdated | None:
    """The same, with the day's screens (the first asked first) at hand. What was asked at the same instant agrees."""
    later = [one for one in of_day if one.made_at > screen.made_at and (until is None or one.made_at <= until)]
    again = [one for one in later if (one.region, one.side) == (screen.region, screen.side)]
    if again:
        return Outdated(again[-1])
    changed = person_changed(as_answers(screen), goal=screen.goal or None, later=[as_answers(one) for one in later])
    if not changed:
        return None
    by = next(one for one in reversed(later) if any(question.key in one.answers for question in changed))
    return Outdated(by, changed)


def as_answers(screen: SkinScreen) -> dict[str, Answer | None]:
    """The stored answers as the rules take them."""
    return {key: Answer(word) for key, word in screen.answers.items()}


def screens_untaped() -> QuerySet[SkinScreen]:
    """Screens that permit tape, with neither a plan nor a word why the patient was not taped.

    One that was asked again later stands for its place no more and is left out.
    """
    plans = StripPlan.objects.filter(screen=OuterRef("pk"))
    again = SkinScreen.objects.filter(
        patient=OuterRef("patient"), region=OuterRef("region"), side=OuterRef("side"), made_at__gt=OuterRef("made_at")
    )
    permitting = SkinScreen.objects.filter(outcome__in=[outcome.value for outcome in PERMITS], not_taped_at=None)
    return permitting.filter(~Exists(plans), ~Exists(again))


def drafts_since(now: datetime, zone: ZoneInfo) -> datetime:
    """From when on a draft is kept: what was begun before could not be recorded with its true time any more."""
    return day_range(local_date(now, zone) - timedelta(days=MOST_DAYS_BACK), zone)[0]


def drafts_open(patient: Patient, *, now: datetime, zone: ZoneInfo) -> QuerySet[ScreenDraft]:
    """What was begun of this patient's screens and neither recorded nor discarded, the last saved first."""
    found = ScreenDraft.objects.filter(patient=patient, closed_at=None, begun_at__gte=drafts_since(now, zone))
    return found.select_related("begun_by", "saved_by")


def draft_at(patient: Patient, region: str, side: str, *, now: datetime, zone: ZoneInfo) -> ScreenDraft | None:
    """The open draft of this place."""
    return drafts_open(patient, now=now, zone=zone).filter(region=region, side=side).first()


def draft_get(pk: int) -> ScreenDraft | None:
    found = ScreenDraft.objects.select_related("patient", "begun_by", "saved_by", "closed_by", "screen")
    return found.filter(pk=pk).first()


def screens_to_sign(supervisor: User) -> QuerySet[SkinScreen]:
    """Students' screens that this supervisor has not signed and that no tape followed, the oldest first.

    Where tape followed, signing the taping signs its screen.
    """
    taped = Application.objects.filter(plan__screen=OuterRef("pk"))
    found = SkinScreen.objects.filter(~Exists(taped), supervisor=supervisor, countersigned_at=None)
    return found.select_related("patient", "asked_by").order_by("made_at", "id")


def visit_of_today(patient: Patient, *, now: datetime, zone: ZoneInfo) -> Visit | None:
    """The patient's visit of the day that was not cancelled or missed; one that has arrived comes first."""
    start, end = day_range(local_date(now, zone), zone)
    here = (Visit.State.ARRIVED, Visit.State.BOOKED)
    visits = list(Visit.objects.filter(patient=patient, starts_at__gte=start, starts_at__lt=end, state__in=here))
    return min(visits, key=lambda visit: (visit.state != Visit.State.ARRIVED, visit.starts_at), default=None)


def screen_get(pk: int) -> SkinScreen | None:
    people = ("patient", "asked_by", "supervisor", "not_taped_by")
    return SkinScreen.objects.select_related("visit", *people).filter(pk=pk).first()


def plan_get(pk: int) -> StripPlan | None:
    """One plan with its screen, patient, helpers and strips."""
    strips = Prefetch("strips", Strip.objects.select_related("roll").order_by("position"))
    plans = StripPlan.objects.select_related("screen__patient", "screen__visit", "made_by", "saved_by")
    return plans.prefetch_related(strips, "screen__patient__helpers").filter(pk=pk).first()


def plan_for_cut(pk: int) -> StripPlan | None:
    """One plan with its screen and nothing else: what a redraw of the cut needs, asked at every key."""
    return StripPlan.objects.select_related("screen").filter(pk=pk).order_by().first()


def tape_of_plan(plan: StripPlan) -> Application | None:
    return Application.objects.filter(plan=plan).first()


def rolls_in_use() -> QuerySet[TapeRoll]:
    return TapeRoll.objects.filter(in_use=True)


def rolls_all() -> QuerySet[TapeRoll]:
    """Every roll, with who measured it."""
    return TapeRoll.objects.select_related("measured_by")


def application_record(pk: int) -> Application | None:
    """One tape with everything that its record can be corrected in."""
    strips = Prefetch("plan__strips", Strip.objects.select_related("roll").order_by("position"))
    tapes = Application.objects.select_related("patient", "therapist", "plan__screen", "removal_visit")
    return tapes.prefetch_related(strips).filter(pk=pk).first()


def corrections_of(application: Application) -> QuerySet[Correction]:
    """What was corrected in this record, the newest first, with who did it."""
    return Correction.objects.filter(application=application).select_related("by")


def application_get(pk: int) -> Application | None:
    return Application.objects.select_related("patient", "therapist", "plan").filter(pk=pk).first()


def pain_scores(plan: StripPlan) -> list[PainScore]:
    """Everything that was said about the pain of one taping, corrections included, in its order."""
    return list(PainScore.objects.filter(plan=plan).select_related("asked_by").order_by("id"))


def strip_events(application: Application) -> list[StripEvent]:
    """What happened to a tape's strips, in its order, what was taken back included."""
    rows = StripEvent.objects.filter(application=application).select_related("strip", "saved_by", "taken_back_by")
    return list(rows.order_by("at", "id"))


def strip_event_get(pk: int) -> StripEvent | None:
    return StripEvent.objects.filter(pk=pk).first()
