"""Keeps what patients say about their pain, and what corrects it. Nothing is read into a score."""

from datetime import datetime

from django.db import transaction

from clinic.services.events import Actor, event_record
from taping.models import Application, PainScore, StripPlan
from taping.rules.pain import PainError, check_score
from taping.services.refusals import TapingRefused

MOST_WHY = 300


@transaction.atomic
def pain_record(
    *, actor: Actor, now: datetime, plan: StripPlan, moment: str, score: int | None, why: str = ""
) -> PainScore:
    """Keep how much it hurts at one moment of a taping; score None: nobody asked. now: aware.

    The same answer again changes nothing. Another one than before needs a reason, and the row before it stays; only
    "not asked" gives way to an answer without one. Raises TapingRefused.
    """
    if moment not in PainScore.Moment.values:
        raise TapingRefused("Choose when the pain was asked: before, right after, or at the next visit.", "moment")
    try:
        score = check_score(score)
    except PainError as wrong:
        raise TapingRefused("Choose a number from 0 to 10, or “Not asked”.", "score") from wrong
    current = StripPlan.objects.select_for_update(of=("self",)).select_related("screen__patient").get(pk=plan.pk)
    taped = Application.objects.filter(plan=current).exists()
    if moment != PainScore.Moment.BEFORE and not taped:
        raise TapingRefused("There is no tape yet: pain after it is asked once it is on the skin.", "moment")
    before = PainScore.objects.filter(plan=current, moment=moment).order_by("-id").first()
    if before is not None and before.score == score:
        return before
    corrects = before is not None and before.score is not None
    _check_why(why.strip(), needed=corrects)
    row = PainScore.objects.create(
        plan=current,
        moment=moment,
        score=score,
        said_at=now,
        asked_by=actor.user,
        why=why.strip() if corrects else "",
    )
    verb = "pain.corrected" if corrects else "pain.recorded"
    patient = current.screen.patient
    event_record(actor=actor, verb=verb, subject=row, patient=patient, now=now, fields=["moment", "score"])
    return row


def _check_why(why: str, *, needed: bool) -> None:
    if needed and not why:
        raise TapingRefused("Say why the score is corrected; the one before it stays in the record.", "why")
    if len(why) > MOST_WHY:
        raise TapingRefused(f"The reason is longer than {MOST_WHY} letters. Shorten it.", "why")
