"""What a patient or a therapist reports about the skin, and the therapist's word that closes it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from taping.models import Application, SkinReport
from taping.rules.removal import Remover
from taping.rules.report import Advice, SignError, advise
from taping.services.refusals import TapingRefused

MOST_WORDS = 2000


@dataclass(frozen=True, slots=True)
class ReportGrade:
    """The therapist's own finding: type and grade in the vocabulary's keys, what was advised, who was told."""

    kind: str
    grade: str = ""
    advice: str = ""
    told: str = ""


def advice_for(*, application: Application, signs: Iterable[str], now: datetime) -> Advice:
    """What the rules say to these signs for this tape at now (aware). Raises TapingRefused for an unknown sign."""
    ended_at = application.ended_at
    minutes = None if ended_at is None else max(0.0, (now - ended_at).total_seconds() / 60)
    try:
        return advise(list(signs), ended_at is None, minutes, remover=Remover(application.removal))
    except SignError as unknown:
        raise TapingRefused("One of the signs is not known here. Choose from the list.", "signs") from unknown


@transaction.atomic
def report_save(
    *, actor: Actor, now: datetime, application: Application, signs: Iterable[str], words: str, reported_by: str
) -> SkinReport:
    """Keep a report about this tape's skin; its urgency follows from the signs. Raises TapingRefused.

    reported_by: "patient", "helper" or "therapist". Nothing here grades, and nothing calls skin fine.
    """
    wanted = list(signs)
    if len(words) > MOST_WORDS:
        raise TapingRefused(f"That is longer than {MOST_WORDS} characters. Shorten it, or call us.", "words")
    current = Application.objects.select_for_update().get(pk=application.pk)
    advice = advice_for(application=current, signs=wanted, now=now)
    ended_at = current.ended_at
    report = SkinReport.objects.create(
        patient=current.patient,
        application=current,
        reported_at=now,
        reported_by=reported_by[:40],
        signs=wanted,
        words=words.strip(),
        minutes_after_removal=None if ended_at is None else max(0, int((now - ended_at).total_seconds() // 60)),
        urgency=advice.urgency.value,
        advice="\n".join(step.text for step in advice.steps),
    )
    event_record(actor=actor, verb="report.saved", subject=report, patient=current.patient, now=now)
    plan_raise(current)
    return report


@transaction.atomic
def report_close(*, actor: Actor, now: datetime, report: SkinReport, grade: ReportGrade) -> SkinReport:
    """A therapist looked at the skin and closes the report. The first closing stands. Raises TapingRefused."""
    if actor.user is None or not actor.user.is_therapist:
        raise TapingRefused("Only a therapist closes a skin report.")
    if not grade.kind.strip():
        raise TapingRefused("Say what was found on the skin.", "kind")
    current = SkinReport.objects.select_for_update().get(pk=report.pk)
    if current.closed_at is not None:
        return current
    current.kind, current.grade, current.told = grade.kind, grade.grade, grade.told.strip()
    current.advice = grade.advice.strip() or current.advice
    current.graded_by, current.closed_at = actor.user, now
    current.save()
    fields = ["kind", "grade", "told", "advice", "closed_at"]
    event_record(actor=actor, verb="report.closed", subject=current, patient=current.patient, now=now, fields=fields)
    if current.application is not None:
        plan_raise(current.application)
    return current
