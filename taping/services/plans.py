"""Drafting the strips: a plan after a screen that allows it, its strips, and its end without tape."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Count, Max

from clinic.models import Patient, User
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from taping.models import Application, SkinScreen, Strip, StripPlan, TapeRoll
from taping.rules.clock import local_date
from taping.rules.cut import ImpossibleCut
from taping.rules.late_entry import MOST_DAYS_BACK, days_back
from taping.rules.lengths import Unit
from taping.rules.skin import GOALS, Answer, not_screened_for
from taping.rules.skin_application import PERMITS
from taping.selectors import rolls_in_use, unit_of
from taping.services.application_checks import refuse_outdated
from taping.services.refusals import TapingRefused
from taping.services.strips import StripValues, roll_again, strip_numbers, values_again

MOST_STRIPS = 20
CHANGEABLE = ("goal", "posture", "reason")
CANNOT_BE_LAID = ("loose_tape", "beyond_tape")
"""Cautions of a cut that may be looked at, but whose piece no hand can lay over its span."""


class PlanChanged(TapingRefused):
    """Somebody else saved this plan since it was opened; current is what they saved, who and at (local) say by whom."""

    def __init__(self, current: StripPlan) -> None:
        self.who = who = current.saved_by.full_name if current.saved_by else "somebody else"
        self.at = at = current.saved_at.astimezone(clinic_get().zone)
        super().__init__(f"{who} changed this plan at {at:%H:%M}. It is shown as it is now; make your change again.")
        self.current = current


@transaction.atomic
def plan_start(*, actor: Actor, now: datetime, screen: SkinScreen, goal: str = "", late: bool = False) -> StripPlan:
    """Begin a plan, or return the open one of this place. Raises TapingRefused where the screen does not permit it.

    A plan that was begun from an earlier screen of the same place and day goes on from this one. late: for tape that
    went on on the screen's day, MOST_DAYS_BACK days ago at most, and is entered now.
    """
    # The patient's row is the lock: two taps at once find one draft.
    Patient.objects.select_for_update().get(pk=screen.patient_id)
    zone = clinic_get().zone
    if screen.outcome not in PERMITS:
        raise TapingRefused("This screen does not permit tape. Screen the skin again when that has changed.")
    if not 0 <= days_back(screen.made_at, now, zone) <= (MOST_DAYS_BACK if late else 0):
        raise TapingRefused("This screen is not from today. Screen the skin again before taping.")
    refuse_outdated(screen, now, zone)
    if screen.not_taped_at is not None:
        raise TapingRefused("This screen was marked as not taped. Screen the skin again before taping.")
    draft = screen.plans.filter(closed_at=None, application=None).first() or _taken_over(actor, now, screen, zone)
    if draft is not None:
        return draft
    chosen = _goal(goal or screen.goal or GOALS[0], screen)
    plan = StripPlan.objects.create(
        screen=screen, made_by=_user(actor, screen), made_at=now, saved_at=now, saved_by=actor.user, goal=chosen
    )
    event_record(actor=actor, verb="plan.started", subject=plan, patient=screen.patient, now=now)
    return plan


def _taken_over(actor: Actor, now: datetime, screen: SkinScreen, zone: ZoneInfo) -> StripPlan | None:
    """The open plan of an earlier screen of this place and day, now this screen's; None where its goal does not fit."""
    place = {"screen__patient": screen.patient_id, "screen__region": screen.region, "screen__side": screen.side}
    drafts = StripPlan.objects.filter(**place, closed_at=None, application=None).select_related("screen__patient")
    for draft in drafts:
        if days_back(draft.screen.made_at, screen.made_at, zone) != 0:
            continue
        try:
            _goal(draft.goal, screen)
        except TapingRefused:
            continue
        draft.screen = screen
        return _saved(actor, now, draft, "plan.screened_again", ["screen"])
    return None


def plan_open(*, plan: StripPlan, version: int | None) -> StripPlan:
    """Lock the plan and return it as it is stored. Raises TapingRefused once it is closed, PlanChanged when stale."""
    current = (
        StripPlan.objects.select_for_update(of=("self",))
        .select_related("screen__patient", "screen__visit")
        .get(pk=plan.pk)
    )
    if current.closed_at is not None:
        raise TapingRefused("This plan was closed without taping. Screen the skin again.")
    worn = Application.objects.filter(plan=current).values_list("therapist__full_name", "saved_at").first()
    if worn is not None:
        at = worn[1].astimezone(clinic_get().zone)
        raise TapingRefused(f"{worn[0]} already recorded this tape as on the skin at {at:%H:%M}.")
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


def why_not_laid(strip: StripValues, unit: Unit) -> list[str]:
    """Why no hand can lay the piece over its span, in the clinic's unit, and what would work; nothing where it can."""
    return [caution.in_unit(unit).text for caution in strip.cut.cautions if caution.key in CANNOT_BE_LAID]


@transaction.atomic
def strip_put(
    *,
    actor: Actor,
    now: datetime,
    plan: StripPlan,
    strip: StripValues,
    version: int | None = None,
    position: int | None = None,
) -> Strip:
    """Add a strip at the end of the plan, or put it in the place of the one at position. Raises TapingRefused.

    Refused is a piece that cannot be laid: one too short for its path, or so long that it would lie slack; and, as
    PlanChanged, one that belongs to an older version of the plan.
    """
    for words in why_not_laid(strip, unit_of(clinic_get())):
        raise TapingRefused(words, "paper")
    current = plan_open(plan=plan, version=version)
    if position is not None:
        return _replaced(actor, now, current, strip, position)
    strips = current.strips.aggregate(last=Max("position"), count=Count("pk"))
    if strips["count"] >= MOST_STRIPS:
        raise TapingRefused(f"A plan takes {MOST_STRIPS} strips. Remove one, or tape in two plans.")
    row = Strip.objects.create(plan=current, position=(strips["last"] or 0) + 1, **strip_numbers(strip))
    _saved(actor, now, current, "plan.strip_added", ["strips"])
    return row


def _replaced(actor: Actor, now: datetime, plan: StripPlan, strip: StripValues, position: int) -> Strip:
    row = plan.strips.filter(position=position).first()
    if row is None:
        raise TapingRefused("That strip is no longer in the plan. Add this one as another strip.")
    for name, value in strip_numbers(strip).items():
        setattr(row, name, value)
    row.as_on = None
    row.save()
    _saved(actor, now, plan, "plan.strip_changed", ["strips"])
    return row


@transaction.atomic
def strips_again(
    *, actor: Actor, now: datetime, plan: StripPlan, last: Application, version: int | None = None
) -> StripPlan:
    """Put the strips of an earlier taping of the same place and patient into an empty plan, cut anew for each roll.

    Each is marked with the day its span is from. The screen is never copied: it was made anew before this plan.
    Raises TapingRefused, PlanChanged.
    """
    current = plan_open(plan=plan, version=version)
    place = (current.screen.patient_id, current.screen.region, current.screen.side)
    if (last.patient_id, last.region, last.side) != place:
        raise TapingRefused("That taping was of another place. Measure the span and add a strip.")
    if current.strips.exists():
        raise TapingRefused("This plan has strips already. Remove them first, or add another.")
    _goal(last.plan.goal, current.screen)
    as_on, rolls = local_date(last.applied_at, clinic_get().zone), list(rolls_in_use())
    for position, strip in enumerate(last.plan.strips.select_related("roll"), start=1):
        numbers = strip_numbers(_again(strip, rolls))
        Strip.objects.create(plan=current, position=position, as_on=as_on, **numbers)
    current.goal, current.posture, current.reason = last.plan.goal, last.plan.posture, last.plan.reason
    return _saved(actor, now, current, "plan.strips_copied", ["strips", *CHANGEABLE])


def _again(strip: Strip, rolls: list[TapeRoll]) -> StripValues:
    try:
        return values_again(strip, roll=roll_again(strip, rolls))
    except ImpossibleCut as impossible:
        words = impossible.in_unit(unit_of(clinic_get()))
        raise TapingRefused(
            f"Strip {strip.position} cannot be cut so again: {words} Measure, and add it anew."
        ) from None


@transaction.atomic
def plan_again(*, actor: Actor, now: datetime, screen: SkinScreen, last: Application) -> StripPlan:
    """Begin the plan of a screen with the strips of an earlier taping: one tap. Raises TapingRefused.

    A plan of this screen that has strips already is returned as it is: a second tap changes nothing.
    """
    plan = plan_start(actor=actor, now=now, screen=screen)
    if plan.strips.exists():
        return plan
    return strips_again(actor=actor, now=now, plan=plan, last=last)


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
