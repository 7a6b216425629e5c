"""Recording a skin screen: what was asked, what was answered, what followed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db import transaction

from clinic.models import Patient, Visit
from clinic.services.events import Actor, event_record
from taping.models import SkinScreen
from taping.rules.places import REGIONS
from taping.rules.skin import Answer, Outcome, Reason, Verdict, judge, needs_note
from taping.services.application_checks import LATE_AFTER
from taping.services.refusals import TapingRefused

MOST_NOTE = 2000


@dataclass(frozen=True, slots=True)
class ScreenDetails:
    """One screen of one region and side. made_at: aware, None for now.

    It may lie back for a late entry, which needs late_reason when it is further back than LATE_AFTER.
    """

    region: str
    side: str
    answers: Mapping[str, Answer | None] = field(default_factory=dict)
    goal: str = ""
    note: str = ""
    visit: Visit | None = None
    made_at: datetime | None = None
    late_reason: str = ""


@transaction.atomic
def screen_record(*, actor: Actor, now: datetime, patient: Patient, details: ScreenDetails) -> SkinScreen:
    """Record a finished screen, a hold included. Raises TapingRefused; an unfinished screen is not recorded."""
    if actor.user is None:
        raise TapingRefused("A skin screen is recorded by a therapist or student who is logged in.")
    _refuse_place(details)
    made_at = details.made_at or now
    _refuse_time(made_at, details.late_reason, now)
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
    )
    event_record(actor=actor, verb="screen.recorded", subject=screen, patient=patient, now=now)
    return screen


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
    if now - made_at > LATE_AFTER and not late_reason.strip():
        minutes = int(LATE_AFTER.total_seconds() // 60)
        raise TapingRefused(
            f"The questions were asked more than {minutes} minutes ago. Say why it is recorded now.", "late_reason"
        )


def _refuse_verdict(verdict: Verdict, details: ScreenDetails) -> None:
    if verdict.outcome is Outcome.UNFINISHED:
        count = len(verdict.reasons)
        questions = "question is" if count == 1 else "questions are"
        raise TapingRefused(f"{count} {questions} still open. Answer them first.", verdict.reasons[0].question)
    if needs_note(verdict) and not details.note.strip():
        raise TapingRefused("Write down how the cautions are met before recording the screen.", "note")
    if len(details.note) > MOST_NOTE:
        raise TapingRefused(f"The note is longer than {MOST_NOTE} characters. Shorten it.", "note")
