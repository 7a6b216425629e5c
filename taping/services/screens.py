"""Recording a skin screen: what was asked, what was answered, what followed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction

from clinic.models import Patient, User, Visit
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from taping.models import Application, SkinScreen, StripPlan
from taping.rules.late_entry import LATE_AFTER, MOST_DAYS_BACK, is_late, too_far_back
from taping.rules.places import REGIONS
from taping.rules.skin import Answer, Outcome, Reason, Verdict, judge, needs_note
from taping.rules.skin_application import PERMITS
from taping.services.refusals import TapingRefused

MOST_NOTE = 2000


@dataclass(frozen=True, slots=True)
class ScreenDetails:
    """One screen of one region and side. made_at: aware, None for now.

    It may lie back for a late entry, MOST_DAYS_BACK days at most, which needs late_reason when it is further back
    than LATE_AFTER. supervisor: named where a student asks.
    """

    region: str
    side: str
    answers: Mapping[str, Answer | None] = field(default_factory=dict)
    goal: str = ""
    note: str = ""
    visit: Visit | None = None
    made_at: datetime | None = None
    late_reason: str = ""
    supervisor: User | None = None


@transaction.atomic
def screen_record(*, actor: Actor, now: datetime, patient: Patient, details: ScreenDetails) -> SkinScreen:
    """Record a finished screen, a hold included. Raises TapingRefused; an unfinished screen is not recorded."""
    if actor.user is None:
        raise TapingRefused("A skin screen is recorded by a therapist or student who is logged in.")
    _refuse_place(details)
    made_at = details.made_at or now
    _refuse_time(made_at, details.late_reason, now)
    _refuse_student(actor.user, details.supervisor)
    verdict = judge(details.answers, goal=details.goal or None)
    _refuse_verdict(verdict, details)
    screen = SkinScreen.objects.create(
        patient=patient,
        visit=details.visit,
        asked_by=actor.user,
        made_at=made_at,
        region=details.region,
        side=details.side,
        goal=details.goal,
        answers={key: answer.value for key, answer in details.answers.items() if answer is not None},
        outcome=verdict.outcome.value,
        reasons=[reason_row(reason) for reason in verdict.reasons],
        note=details.note.strip(),
        late_reason=details.late_reason.strip(),
        saved_at=now,
        supervisor=details.supervisor if actor.user.is_student else None,
    )
    event_record(actor=actor, verb="screen.recorded", subject=screen, patient=patient, now=now)
    return screen


@transaction.atomic
def screen_not_taped(*, actor: Actor, now: datetime, screen: SkinScreen, why: str) -> SkinScreen:
    """Say why no tape followed a screen that permits it; its open plan is put away with it. Idempotent.

    Raises TapingRefused without a reason, once there is tape, and for a screen that permits none.
    """
    if not why.strip():
        raise TapingRefused("Say why this patient is not taped.", "why")
    Patient.objects.select_for_update().get(pk=screen.patient_id)
    current = SkinScreen.objects.get(pk=screen.pk)
    if current.outcome not in PERMITS:
        raise TapingRefused("This screen permits no tape, so there is nothing to explain.")
    if Application.objects.filter(plan__screen=current).exists():
        raise TapingRefused("This tape is on record already. Open it from the patient's page.")
    if current.not_taped_at is not None:
        return current
    StripPlan.objects.filter(screen=current, closed_at=None).update(
        closed_at=now, closed_why=why.strip()[:200], saved_at=now, saved_by=actor.user
    )
    current.not_taped_at, current.not_taped_by, current.not_taped_why = now, actor.user, why.strip()[:200]
    fields = ["not_taped_at", "not_taped_by", "not_taped_why"]
    current.save(update_fields=fields)
    event_record(actor=actor, verb="screen.not_taped", subject=current, patient=current.patient, now=now, fields=fields)
    return current


@transaction.atomic
def screen_countersign(*, actor: Actor, now: datetime, screen: SkinScreen) -> SkinScreen:
    """The named supervisor signs a student's screen. Repeating it changes nothing. Raises TapingRefused."""
    current = SkinScreen.objects.select_for_update().get(pk=screen.pk)
    if actor.user is None or current.supervisor_id != actor.user.pk:
        raise TapingRefused("Only the supervisor who was named can sign this screen.")
    if current.countersigned_at is None:
        current.countersigned_at = now
        current.save(update_fields=["countersigned_at"])
        event_record(actor=actor, verb="screen.countersigned", subject=current, patient=current.patient, now=now)
    return current


def reason_row(reason: Reason) -> dict[str, Any]:
    """The reason as it is stored with the screen: the words that were shown, not a reference to words that change."""
    return {
        "question": reason.question,
        "text": reason.text,
        "advice": reason.advice,
        "urgency": reason.urgency.value,
        "who": reason.who,
        "finding": reason.finding.value,
    }


def _refuse_place(details: ScreenDetails) -> None:
    region = REGIONS.get(details.region)
    if region is None:
        raise TapingRefused("Choose the region on the figure or in the list.", "region")
    if details.side not in region.sides:
        raise TapingRefused(f"Choose the side: {' or '.join(region.sides)}.", "side")


def _refuse_time(made_at: datetime, late_reason: str, now: datetime) -> None:
    if made_at > now:
        raise TapingRefused("That time is still to come. Give the time of the screen.", "made_at")
    if too_far_back(made_at, now, clinic_get().zone):
        raise TapingRefused(
            f"That is more than {MOST_DAYS_BACK} days ago, too long to be entered as a screen. "
            "Write it into the patient's note, and screen the skin anew before taping.",
            "made_at",
        )
    if is_late(made_at, now) and not late_reason.strip():
        minutes = int(LATE_AFTER.total_seconds() // 60)
        raise TapingRefused(
            f"The questions were asked more than {minutes} minutes ago. Say why it is recorded now.", "late_reason"
        )


def _refuse_student(user: User, supervisor: User | None) -> None:
    if user.is_student and (supervisor is None or not supervisor.is_therapist):
        raise TapingRefused("A student's screen needs a supervisor. Name the therapist who supervises.", "supervisor")


def _refuse_verdict(verdict: Verdict, details: ScreenDetails) -> None:
    if verdict.outcome is Outcome.UNFINISHED:
        count = len(verdict.reasons)
        questions = "question is" if count == 1 else "questions are"
        raise TapingRefused(f"{count} {questions} still open. Answer them first.", verdict.reasons[0].question)
    if needs_note(verdict) and not details.note.strip():
        raise TapingRefused("Write down how the cautions are met before recording the screen.", "note")
    if len(details.note) > MOST_NOTE:
        raise TapingRefused(f"The note is longer than {MOST_NOTE} characters. Shorten it.", "note")
