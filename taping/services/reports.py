"""What a patient or a therapist reports about the skin, and the therapist's word that closes it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from taping.models import Application, SkinReport
from taping.rules.clock import local_date
from taping.rules.removal import Remover
from taping.rules.report import Advice, SignError, advise
from taping.services.refusals import TapingRefused

MOST_WORDS = 2000


@dataclass(frozen=True, slots=True)
class ReportGrade:
    """The therapist's own finding: type and grade in the vocabulary's keys, what was advised, who was told.

    told_whom: keys of TOLD_WHOM; told: their name, where it helps; follow_up_on: the clinic's day on which the skin
    is looked at again, or None.
    """

    kind: str
    grade: str = ""
    advice: str = ""
    told: str = ""
    told_whom: tuple[str, ...] = ()
    follow_up_on: date | None = None


TOLD_WHOM: Mapping[str, str] = {
    "doctor": "the doctor",
    "parent": "a parent or guardian",
    "helper": "the helper",
    "nobody": "nobody",
}
"""Whom a therapist can have told about a finding."""


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
def report_grade(*, actor: Actor, now: datetime, report: SkinReport, grade: ReportGrade) -> SkinReport:
    """A therapist writes down the finding; the report stays open until it is closed. Raises TapingRefused.

    A finding can be written anew while the report is open; a closed one stays as it is.
    """
    return _found(actor, now, report, grade, close=False)


@transaction.atomic
def report_close(*, actor: Actor, now: datetime, report: SkinReport, grade: ReportGrade) -> SkinReport:
    """A therapist looked at the skin and closes the report. The first closing stands. Raises TapingRefused."""
    return _found(actor, now, report, grade, close=True)


def _found(actor: Actor, now: datetime, report: SkinReport, grade: ReportGrade, *, close: bool) -> SkinReport:
    if actor.user is None or not actor.user.is_therapist:
        raise TapingRefused("Only a therapist closes a skin report, or writes what was found.")
    current = SkinReport.objects.select_for_update().get(pk=report.pk)
    if current.closed_at is not None:
        return current
    _refuse_grade(grade, now)
    current.kind, current.grade, current.told = grade.kind, grade.grade, grade.told.strip()
    current.told_whom, current.follow_up_on = list(grade.told_whom), grade.follow_up_on
    current.advised = grade.advice.strip()
    current.graded_by, current.graded_at = actor.user, now
    current.closed_at = now if close else None
    current.save()
    fields = ["kind", "grade", "told", "told_whom", "advised", "follow_up_on", *(["closed_at"] if close else [])]
    verb = "report.closed" if close else "report.graded"
    event_record(actor=actor, verb=verb, subject=current, patient=current.patient, now=now, fields=fields)
    if close and current.application is not None:
        plan_raise(current.application)
    return current


def _refuse_grade(grade: ReportGrade, now: datetime) -> None:
    if not grade.kind.strip():
        raise TapingRefused("Say what was found on the skin.", "kind")
    if "nobody" in grade.told_whom and len(grade.told_whom) > 1:
        raise TapingRefused("Somebody was told, or nobody: leave one of them out.", "told_whom")
    if grade.follow_up_on is not None and grade.follow_up_on < local_date(now, clinic_get().zone):
        raise TapingRefused("That day is past. Choose today or a later day.", "follow_up_on")
