"""Drafting the strips: a plan after a screen that allows it, its strips, and its end without tape."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from clinic.models import Patient, User
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from taping.models import Application, SkinScreen, Strip, StripPlan
from taping.rules.clock import local_date
from taping.rules.skin import GOALS, Answer, not_screened_for
from taping.rules.skin_application import PERMITS
from taping.services.refusals import TapingRefused
from taping.services.strips import StripValues, strip_numbers, values_again

MOST_STRIPS = 20
CHANGEABLE = ("goal", "posture", "reason")
CANNOT_BE_LAID = ("loose_tape", "beyond_tape")
"""Cautions of a cut that may be looked at, but whose piece no hand can lay over its span."""


class PlanChanged(TapingRefused):
    """Somebody else saved this plan since it was opened; current is what they saved."""

    def __init__(self, current: StripPlan) -> None:
        who = current.saved_by.full_name if current.saved_by else "somebody else"
        at = current.saved_at.astimezone(clinic_get().zone)
        super().__init__(f"{who} changed this plan at {at:%H:%M}. It is shown as it is now; make your change again.")
        self.current = current


@transaction.atomic
def plan_start(*, actor: Actor, now: datetime, screen: SkinScreen, goal: str = "") -> StripPlan:
    """Begin a plan, or return the open one of this screen. Raises TapingRefused where the screen does not permit it."""
    # The patient's row is the lock: two taps at once find one draft.
    Patient.objects.select_for_update().get(pk=screen.patient_id)
    zone = clinic_get().zone
    if screen.outcome not in PERMITS:
        raise TapingRefused("This screen does not permit tape. Screen the skin again when that has changed.")
    if local_date(screen.made_at, zone) != local_date(now, zone):
        raise TapingRefused("This screen is not from today. Screen the skin again before taping.")
    draft = screen.plans.filter(closed_at=None, application=None).first()
    if draft is not None:
        return draft
    chosen = _goal(goal or screen.goal or GOALS[0], screen)
    plan = StripPlan.objects.create(
        screen=screen, made_by=_user(actor, screen), made_at=now, saved_at=now, saved_by=actor.user, goal=chosen
    )
    event_record(actor=actor, verb="plan.started", subject=plan, patient=screen.patient, now=now)
    return plan


def plan_open(*, plan: StripPlan, version: int | None) -> StripPlan:
    """Lock the plan and return it as it is stored. Raises TapingRefused once it is closed, PlanChanged when stale."""
    current = (
        StripPlan.objects.select_for_update(of=("self",))
        .select_related("screen__patient", "screen__visit", "made_by", "saved_by")
        .get(pk=plan.pk)
    )
    if current.closed_at is not None:
        raise TapingRefused("This plan was closed without taping. Screen the skin again.")
    worn = Application.objects.filter(plan=current).select_related("therapist").first()
    if worn is not None:
        at = worn.saved_at.astimezone(clinic_get().zone)
        raise TapingRefused(f"{worn.therapist.full_name} already recorded this tape as on the skin at {at:%H:%M}.")
    if version is not None and current.version != version:
        raise PlanChanged(current)
    return current


@transaction.atomic
def plan_change(
    *, actor: Actor, now: datetime, plan: StripPlan, values: Mapping[str, Any], version: int | None = None
) -> StripPlan:
    """Write goal, posture or reason. Raises TapingRefused, PlanChanged; ValueError for any other name."""
    unknown = sorted(set(values) - set(CHANGEABLE))
    if unknown:
        raise ValueError(f"{unknown[0]!r} cannot be changed; these can: {', '.join(CHANGEABLE)}")
    current = plan_open(plan=plan, version=version)
    if "goal" in values:
        _goal(values["goal"], current.screen)
    changed = [name for name, value in values.items() if getattr(current, name) != value]
    for name in changed:
        setattr(current, name, values[name])
    return _saved(actor, now, current, "plan.changed", changed) if changed else current


@transaction.atomic
def strip_put(*, actor: Actor, now: datetime, plan: StripPlan, strip: StripValues, version: int | None = None) -> Strip:
    """Add a strip at the end of the plan. Raises TapingRefused, PlanChanged.

    Refused is a piece that cannot be laid: one too short for its path, or so long that it would lie slack.
    """
    for caution in strip.cut.cautions:
        if caution.key in CANNOT_BE_LAID:
            raise TapingRefused(caution.text, "paper")
    current = plan_open(plan=plan, version=version)
    last: int = current.strips.aggregate(last=Max("position"))["last"] or 0
    if current.strips.count() >= MOST_STRIPS:
        raise TapingRefused(f"A plan takes {MOST_STRIPS} strips. Remove one, or tape in two plans.")
    row = Strip.objects.create(plan=current, position=last + 1, **strip_numbers(strip))
    _saved(actor, now, current, "plan.strip_added", ["strips"])
    return row


@transaction.atomic
def strips_again(
    *, actor: Actor, now: datetime, plan: StripPlan, last: Application, version: int | None = None
) -> StripPlan:
    """Put the strips of an earlier taping of the same place and patient into an empty plan, cut anew for each roll.

    The screen is never copied: it was made anew before this plan. Raises TapingRefused, PlanChanged.
    """
    current = plan_open(plan=plan, version=version)
    place = (current.screen.patient_id, current.screen.region, current.screen.side)
    if (last.patient_id, last.region, last.side) != place:
        raise TapingRefused("That taping was of another place. Measure the span and add a strip.")
    if current.strips.exists():
        raise TapingRefused("This plan has strips already. Remove them first, or add another.")
    _goal(last.plan.goal, current.screen)
    for position, strip in enumerate(last.plan.strips.select_related("roll"), start=1):
        Strip.objects.create(plan=current, position=position, **strip_numbers(values_again(strip)))
    current.goal, current.posture, current.reason = last.plan.goal, last.plan.posture, last.plan.reason
    return _saved(actor, now, current, "plan.strips_copied", ["strips", *CHANGEABLE])


@transaction.atomic
def strip_remove(
    *, actor: Actor, now: datetime, plan: StripPlan, position: int, version: int | None = None
) -> StripPlan:
    """Take a strip out of the plan; removing it twice changes nothing. Raises TapingRefused, PlanChanged."""
    current = plan_open(plan=plan, version=version)
    removed, _ = current.strips.filter(position=position).delete()
    return _saved(actor, now, current, "plan.strip_removed", ["strips"]) if removed else current


@transaction.atomic
def plan_close(*, actor: Actor, now: datetime, plan: StripPlan, why: str) -> StripPlan:
    """End the draft as not taped. Raises TapingRefused without a reason, and once there is tape."""
    if not why.strip():
        raise TapingRefused("Say why this patient is not taped.", "why")
    current = plan_open(plan=plan, version=None)
    current.closed_at, current.closed_why = now, why.strip()[:200]
    return _saved(actor, now, current, "plan.closed", ["closed_at", "closed_why"])


def _goal(goal: str, screen: SkinScreen) -> str:
    if goal not in GOALS:
        raise TapingRefused("Choose what the tape is for.", "goal")
    # A stop of this goal alone was not counted by a screen for another one: its verdict says nothing about it.
    answers = {key: Answer(word) for key, word in screen.answers.items()}
    more = not_screened_for(answers, screened_for=screen.goal or None, goal=goal)
    if more:
        asked = " ".join(question.text for question in more)
        raise TapingRefused(
            f"The skin was screened for another goal; this one also asks: {asked} Screen the skin again for this goal.",
            "goal",
        )
    return goal


def _user(actor: Actor, screen: SkinScreen) -> User:
    return actor.user or screen.asked_by


def _saved(actor: Actor, now: datetime, plan: StripPlan, verb: str, fields: list[str]) -> StripPlan:
    plan.version += 1
    plan.saved_at, plan.saved_by = now, actor.user
    plan.save()
    event_record(actor=actor, verb=verb, subject=plan, patient=plan.screen.patient, now=now, fields=fields)
    return plan
