"""Putting a tape on record: the start of an application, its corrections and its end."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from clinic.models import Helper, Patient, User, Visit
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from taping.models import Application, SkinReport, StripPlan
from taping.rules.clock import local_date
from taping.rules.removal import Remover, removal_answers_from, remover_allowed
from taping.rules.skin import Answer, Outcome
from taping.rules.skin_application import ScreenFacts, TapingFacts, application_allowed
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

LATE_AFTER = timedelta(minutes=15)
"""A time further back than this was not typed by accident: it needs a reason."""

CHANGEABLE = ("removal", "helper", "applied_at", "caution", "shortening")


@dataclass(frozen=True, slots=True)
class TapingDetails:
    """What is known when the tape is on the skin. applied_at: aware.

    removal_answers are the answers to the removal questions; what the screen says about them is added. None: the
    questions were not asked, and only what the screen found can speak against taking it off at home.
    """

    applied_at: datetime
    removal: str = Application.Removal.HOME
    helper: Helper | None = None
    removal_answers: Mapping[str, Answer | None] | None = None
    shortening: Shortening | None = None
    supervisor: User | None = None
    visit: Visit | None = None
    late_reason: str = ""
    posture: str = ""
    reason: str = ""
    version: int | None = None


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
    _refuse_time(details, now)
    _refuse_screen(plan, details.applied_at, clinic.zone)
    _refuse_place(plan)
    _refuse_removal(plan, details)
    _refuse_student(actor, details)
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


def _refuse_time(details: TapingDetails, now: datetime) -> None:
    if details.applied_at > now:
        raise TapingRefused("That time is still to come. Give the time at which the tape went on.", "applied_at")
    if now - details.applied_at > LATE_AFTER and not details.late_reason.strip():
        minutes = int(LATE_AFTER.total_seconds() // 60)
        raise TapingRefused(
            f"The tape went on more than {minutes} minutes ago. Say why it is recorded now.", "late_reason"
        )


def _refuse_screen(plan: StripPlan, applied_at: datetime, zone: ZoneInfo) -> None:
    screen = plan.screen
    facts = ScreenFacts(screen.patient_id, screen.region, screen.side, Outcome(screen.outcome), screen.made_at)
    taping = TapingFacts(screen.patient_id, screen.region, screen.side, applied_at)
    permission = application_allowed(facts, taping, zone)
    if not permission.allowed:
        raise TapingRefused(" ".join(permission.reasons), "applied_at")


def _refuse_place(plan: StripPlan) -> None:
    place = {"patient": plan.screen.patient_id, "region": plan.screen.region, "side": plan.screen.side}
    worn = Application.objects.filter(**place, ended_at=None).first()
    if worn is not None:
        raise TapingRefused("There is tape on this place already. Record its end first, then tape again.")
    reaction = SkinReport.objects.filter(
        patient=plan.screen.patient_id,
        application__region=plan.screen.region,
        application__side=plan.screen.side,
        closed_at=None,
    )
    if reaction.exists():
        raise TapingRefused(
            "A skin report of this place is still open. A therapist looks at the skin and closes the report first."
        )


def _refuse_removal(plan: StripPlan, details: TapingDetails) -> None:
    if details.helper is not None and details.helper.patient_id != plan.screen.patient_id:
        raise TapingRefused("That helper belongs to another patient. Choose one of this patient's.", "helper")
    if details.removal != Application.Removal.HOME:
        return
    said = removal_answers_from(plan.screen.answers)
    if details.removal_answers is not None:
        against = remover_allowed({**said, **_given(details.removal_answers)})
        if Remover.HOME not in against.allowed:
            raise TapingRefused(
                f"{' '.join(against.reasons[:-1])} Choose a helper or the clinic to take the tape off.", "removal"
            )
    elif Answer.YES in said.values():
        raise TapingRefused(
            "The skin screen speaks against taking it off at home. Choose a helper or the clinic.", "removal"
        )


def _given(answers: Mapping[str, Answer | None]) -> dict[str, Answer | None]:
    return {key: answer for key, answer in answers.items() if answer is not None}


def _refuse_student(actor: Actor, details: TapingDetails) -> None:
    if actor.user is None or not actor.user.is_student:
        return
    if details.supervisor is None or not details.supervisor.is_therapist:
        raise TapingRefused("A student's taping needs a supervisor. Name the therapist who supervises.", "supervisor")


def _unsaved(actor: Actor, now: datetime, plan: StripPlan, details: TapingDetails) -> Application:
    screen = plan.screen
    answers = removal_answers_from(screen.answers) | _given(details.removal_answers or {})
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
        removal=details.removal,
        removal_answers=answers,
        helper=details.helper,
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

    how: one of Application.Ending; ended_at: aware, when it came off; by: a word such as "patient" or "therapist".
    Raises TapingRefused.
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
    current.save(update_fields=["ended_at", "ended_how", "ended_by", "ending_note"])
    event_record(actor=actor, verb="application.ended", subject=current, patient=current.patient, now=now)
    plan_raise(current)
    return current


@transaction.atomic
def application_change(
    *, actor: Actor, now: datetime, application: Application, values: Mapping[str, Any], why: str = ""
) -> Application:
    """Correct a tape. values may hold removal, helper, caution, applied_at (aware; needs why) and shortening.

    The days follow a corrected time and are never more than before. Raises TapingRefused; ValueError for any other
    name.
    """
    unknown = sorted(set(values) - set(CHANGEABLE))
    if unknown:
        raise ValueError(f"{unknown[0]!r} cannot be changed; these can: {', '.join(CHANGEABLE)}")
    current = Application.objects.select_for_update(of=("self",)).select_related("removal_visit").get(pk=application.pk)
    if "applied_at" in values:
        _correct_time(current, values["applied_at"], now, why)
    if values.get("shortening"):
        zone = clinic_get().zone
        window_store(current, shortened(window_of(current, zone), values["shortening"]), zone)
        current.shortened_why = values["shortening"].why.strip()
    for name in ("removal", "helper", "caution"):
        if name in values:
            setattr(current, name, values[name])
    current.save()
    event_record(
        actor=actor, verb="application.changed", subject=current, patient=current.patient, now=now, fields=values
    )
    plan_raise(current)
    return current


def _correct_time(application: Application, applied_at: datetime, now: datetime, why: str) -> None:
    zone = clinic_get().zone
    if applied_at > now:
        raise TapingRefused("That time is still to come. Give the time at which the tape went on.", "applied_at")
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
        event_record(actor=actor, verb="application.countersigned", subject=current, patient=current.patient, now=now)
    return current
