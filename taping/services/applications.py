"""Putting a tape on record: the start of an application, its corrections and its end."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from clinic.models import Helper, Patient, User, Visit
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from taping.models import Application, SkinScreen, StripPlan
from taping.rules.clock import local_date
from taping.rules.removal import removal_answers_from
from taping.rules.skin import Answer, Outcome
from taping.selectors import unit_of
from taping.services.application_checks import (
    given,
    refuse_helper,
    refuse_home,
    refuse_home_later,
    refuse_late,
    refuse_outdated,
    refuse_place,
    refuse_screen,
    refuse_student,
    refuse_time_to_come,
)
from taping.services.corrections import (
    RecordChanged,
    correct_side,
    correct_strips,
    corrections_keep,
    record_words,
)
from taping.services.plans import plan_open
from taping.services.refusals import TapingRefused
from taping.services.removal_visits import removal_visit_found
from taping.services.windows import Shortening, shortened, window_moved, window_of, window_of_clinic, window_store

__all__ = [
    "Shortening",
    "TapingDetails",
    "TapingRefused",
    "application_change",
    "application_countersign",
    "application_end",
    "application_start",
]

ENDING = ("ended_at", "ended_how", "ended_by", "ending_note", "ending_saved_at", "ending_saved_by")
CHANGEABLE = ("removal", "helper", "applied_at", "caution", "shortening", "posture", "side", "strips")


@dataclass(frozen=True, slots=True)
class TapingDetails:
    """What is known when the tape is on the skin. applied_at: aware.

    removal_answers are the answers to the removal questions; what the screen says about them is added. None: the
    questions were not asked, and only what the screen found can speak against taking it off at home.
    laid_steps: as laying.laid_steps makes them, nothing where the steps were not shown; left_out_why: why not all.
    side: the side that the tape went on, "" for the plan's; another one than the screen's is refused.
    removal None: who takes it off is settled at handing over; until then it is the clinic, which is always safe.
    """

    applied_at: datetime
    removal: str | None = Application.Removal.HOME
    helper: Helper | None = None
    removal_answers: Mapping[str, Answer | None] | None = None
    shortening: Shortening | None = None
    supervisor: User | None = None
    visit: Visit | None = None
    late_reason: str = ""
    posture: str = ""
    reason: str = ""
    version: int | None = None
    laid_steps: Sequence[Mapping[str, Any]] = ()
    left_out_why: str = ""
    side: str = ""


@transaction.atomic
def application_start(*, actor: Actor, now: datetime, plan: StripPlan, details: TapingDetails) -> Application:
    """Record that the plan's strips are on the skin. now: aware.

    The clinic's numbers are copied, so that a later change of policy does not touch a tape that is worn.
    Raises TapingRefused (PlanChanged where details.version is no longer the plan's).
    """
    plan = plan_open(plan=plan, version=details.version)
    clinic = clinic_get()
    patient = Patient.objects.select_for_update().get(pk=plan.screen.patient_id)
    if not plan.strips.exists():
        raise TapingRefused("There is no strip in this plan yet. Add the strip that is on the skin.")
    _refuse(actor, now, plan.screen, details, clinic.zone)
    application = _unsaved(actor, now, plan, details)
    window_store(application, window_of_clinic(details.applied_at, clinic, details.shortening), clinic.zone)
    application.adhesion_minutes = clinic.adhesion_minutes
    # Sweat is exercise too: the second wait is never shorter than the first, whatever the clinic's numbers are.
    application.water_minutes = max(clinic.water_minutes, clinic.adhesion_minutes)
    removal_visit_found(application=application, zone=clinic.zone)
    _save_words(plan, details)
    _save_new(application)
    event_record(actor=actor, verb="application.started", subject=application, patient=patient, now=now)
    plan_raise(application)
    return application


def _refuse(actor: Actor, now: datetime, screen: SkinScreen, details: TapingDetails, zone: ZoneInfo) -> None:
    refuse_time_to_come(details.applied_at, now)
    refuse_late(details.applied_at, now, details.late_reason, zone)
    refuse_screen(screen, details.applied_at, zone, details.side)
    refuse_place(screen)
    refuse_outdated(screen, details.applied_at, zone)
    refuse_helper(screen, details.helper)
    if details.removal == Application.Removal.HOME:
        refuse_home(screen, details.removal_answers)
    refuse_student(actor, details.supervisor)
    if any(row["left_out"] for row in details.laid_steps) and not details.left_out_why.strip():
        raise TapingRefused("Say why a step was left out, or tick it.", "left_out_why")


def _unsaved(actor: Actor, now: datetime, plan: StripPlan, details: TapingDetails) -> Application:
    screen = plan.screen
    answers = removal_answers_from(screen.answers) | given(details.removal_answers or {})
    return Application(
        patient=screen.patient,
        plan=plan,
        region=screen.region,
        side=screen.side,
        therapist=actor.user or plan.made_by,
        supervisor=details.supervisor,
        visit=details.visit or screen.visit,
        applied_at=details.applied_at,
        saved_at=now,
        late_reason=details.late_reason.strip(),
        shortened_why=details.shortening.why.strip() if details.shortening else "",
        removal=details.removal or Application.Removal.CLINIC,
        remover_open=details.removal is None,
        removal_answers=answers,
        helper=details.helper,
        laid_steps=list(details.laid_steps),
        left_out_why=details.left_out_why.strip(),
        first_application=not Application.objects.filter(patient=screen.patient_id).exists(),
        caution=screen.outcome == Outcome.CLEAR_WITH_CARE,
    )


def _save_words(plan: StripPlan, details: TapingDetails) -> None:
    plan.posture, plan.reason = details.posture or plan.posture, details.reason or plan.reason
    plan.save(update_fields=["posture", "reason"])


def _save_new(application: Application) -> None:
    try:
        with transaction.atomic():
            application.save()
    except IntegrityError as lost:
        raise TapingRefused("This tape was recorded by somebody else a moment ago. Open the patient's page.") from lost


@transaction.atomic
def application_end(
    *, actor: Actor, now: datetime, application: Application, how: str, ended_at: datetime, by: str, note: str = ""
) -> Application:
    """Record the end of a tape; the first ending stands, and a repeated call returns it unchanged.

    how: one of Application.Ending; ended_at: aware, when it came off; by: who took it off, a word such as "patient".
    Who put it on record, and when, is kept beside it. Raises TapingRefused.
    """
    current = Application.objects.select_for_update().get(pk=application.pk)
    if current.ended_at is not None:
        return current
    if ended_at > now:
        raise TapingRefused("That time is still to come. Give the time at which the tape came off.", "ended_at")
    if ended_at < current.applied_at:
        raise TapingRefused("That is before the tape went on. Give the time at which it came off.", "ended_at")
    current.ended_at, current.ended_how = ended_at, Application.Ending(how).value
    current.ended_by, current.ending_note = by[:40], note
    current.ending_saved_at, current.ending_saved_by = now, actor.user
    current.save(update_fields=ENDING)
    event_record(actor=actor, verb="application.ended", subject=current, patient=current.patient, now=now)
    plan_raise(current)
    return current


@transaction.atomic
def application_change(
    *,
    actor: Actor,
    now: datetime,
    application: Application,
    values: Mapping[str, Any],
    why: str = "",
    version: int | None = None,
) -> Application:
    """Correct a tape. values may hold removal, helper, caution, posture, shortening; and applied_at (aware), side and
    strips (StripNumbers), which need why.

    What the record said before is kept as corrections; the event names what changed. The days follow a corrected time
    and are never more than before. Who takes it off is held to the same answers as when the tape went on. Raises
    TapingRefused, as RecordChanged where version is no longer the stored one; ValueError for any other name.
    """
    unknown = sorted(set(values) - set(CHANGEABLE))
    if unknown:
        raise ValueError(f"{unknown[0]!r} cannot be changed; these can: {', '.join(CHANGEABLE)}")
    rows = Application.objects.select_for_update(of=("self",)).select_related("removal_visit", "plan__screen")
    current, clinic = rows.get(pk=application.pk), clinic_get()
    if version is not None and current.version != version:
        raise RecordChanged(current, clinic.zone)
    before = record_words(current, clinic)
    _correct(current, values, now, why)
    current.version += 1
    current.save()
    changed = corrections_keep(current, before, record_words(current, clinic), actor=actor, now=now, why=why)
    event_record(
        actor=actor,
        verb="application.changed",
        subject=current,
        patient=current.patient,
        now=now,
        fields={*changed, *({"helper"} & set(values))},
    )
    plan_raise(current)
    return current


def _correct(current: Application, values: Mapping[str, Any], now: datetime, why: str) -> None:
    clinic = clinic_get()
    refuse_helper(current.plan.screen, values.get("helper"))
    if values.get("removal") == Application.Removal.HOME:
        refuse_home_later(current)
    if {"side", "strips"} & set(values) and not why.strip():
        raise TapingRefused("Say why the record is corrected.", "why")
    if "applied_at" in values:
        _correct_time(current, values["applied_at"], now, why)
    if values.get("shortening"):
        window_store(current, shortened(window_of(current, clinic.zone), values["shortening"]), clinic.zone)
        current.shortened_why = values["shortening"].why.strip()
    if "side" in values:
        correct_side(current, values["side"], now=now, zone=clinic.zone)
    if "strips" in values:
        correct_strips(current, values["strips"], unit_of(clinic))
    if "posture" in values:
        current.plan.posture = values["posture"]
        current.plan.save(update_fields=["posture"])
    current.remover_open = current.remover_open and "removal" not in values
    for name in ("removal", "helper", "caution"):
        if name in values:
            setattr(current, name, values[name])


def _correct_time(application: Application, applied_at: datetime, now: datetime, why: str) -> None:
    zone = clinic_get().zone
    refuse_time_to_come(applied_at, now)
    if application.ended_at is not None and applied_at > application.ended_at:
        raise TapingRefused("That is after the tape came off. Give an earlier time.", "applied_at")
    if local_date(applied_at, zone) != local_date(application.applied_at, zone):
        raise TapingRefused("Only the time of day can be corrected. For another day, record it anew.", "applied_at")
    if not why.strip():
        raise TapingRefused("Say why the time is corrected.", "late_reason")
    window_store(application, window_moved(application, applied_at, zone), zone)
    application.applied_at, application.late_reason = applied_at, why.strip()


@transaction.atomic
def application_countersign(*, actor: Actor, now: datetime, application: Application) -> Application:
    """The named supervisor signs a student's taping. Repeating it changes nothing. Raises TapingRefused."""
    current = Application.objects.select_for_update().get(pk=application.pk)
    if actor.user is None or current.supervisor_id != actor.user.pk:
        raise TapingRefused("Only the supervisor who was named can sign this taping.")
    if current.countersigned_at is None:
        current.countersigned_at = now
        current.save(update_fields=["countersigned_at"])
        SkinScreen.objects.filter(plans=current.plan_id, supervisor=actor.user, countersigned_at=None).update(
            countersigned_at=now
        )
        event_record(actor=actor, verb="application.countersigned", subject=current, patient=current.patient, now=now)
    return current
