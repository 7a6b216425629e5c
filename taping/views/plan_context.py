"""What the page of a strip plan shows."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import HttpRequest

from clinic.models import User
from clinic.selectors import therapists
from clinic.views.access import clinic_of, user_of
from taping import selectors
from taping.forms.laying import Asked, LayForm
from taping.forms.strips import StripForm, initial_for
from taping.models import Strip, StripPlan, TapeRoll
from taping.rules.cut import ImpossibleCut
from taping.rules.shapes import UnfitShapeError
from taping.rules.skin import Answer, Outcome
from taping.rules.technique import TECHNIQUES, Goal, LayingStep, Technique, technique_for
from taping.rules.wear import ShorterWear, suggest_shorter
from taping.services.strips import StripResult, strip_result, values_of
from taping.templatetags.taping_words import unit_of


@dataclass(frozen=True, slots=True)
class PlanStrip:
    """A stored strip with its working, or without where it can no longer be worked out."""

    strip: Strip
    result: StripResult | None


@dataclass(frozen=True, slots=True)
class LayingList:
    """The steps that some strips share, with the numbers of those strips."""

    positions: list[int]
    steps: tuple[LayingStep, ...]


@dataclass(slots=True)
class PlanPage:
    """A plan on its way to the page, with the forms that stand on it. now: aware."""

    request: HttpRequest
    plan: StripPlan
    now: datetime
    rolls: list[TapeRoll]

    def strip_form(self, data: Any = None) -> StripForm:
        unit = unit_of(clinic_of(self.request))
        initial = initial_for(technique_for(self.plan.goal), unit, self.rolls)
        return StripForm(data, plan=self.plan, unit=unit, rolls=self.rolls, initial=initial)

    def lay_form(self, data: Any = None) -> LayForm:
        plan, patient = self.plan, self.plan.screen.patient
        initial = {"posture": plan.posture, "reason": plan.reason or technique_for(plan.goal).label.capitalize()}
        asked = Asked(
            screen=plan.screen,
            patient=patient,
            clinic=clinic_of(self.request),
            now=self.now,
            helpers=list(patient.helpers.all()),
            staff=self._supervisors(user_of(self.request)),
            shorter=self.shorter,
        )
        return LayForm(data, asked=asked, initial=initial)

    @property
    def shorter(self) -> ShorterWear | None:
        """The proposal of a shorter wear that the screen leads to."""
        screen = self.plan.screen
        return suggest_shorter(
            caution=screen.outcome == Outcome.CLEAR_WITH_CARE,
            child=screen.answers.get("child") in (Answer.YES, Answer.NOT_KNOWN),
        )

    def _supervisors(self, user: User) -> list[User]:
        return list(therapists()) if user.is_student else []

    def result_of(self, form: StripForm) -> StripResult | None:
        """The working of a valid form."""
        if not form.is_bound or not form.is_valid():
            return None
        screen = self.plan.screen
        return strip_result(form.values, goal=self.plan.goal, region=screen.region, answers=screen.answers)

    def context(self, strip: StripForm, lay: LayForm) -> dict[str, Any]:
        plan, screen = self.plan, self.plan.screen
        strips = [self._worked_out(row) for row in plan.strips.all()]
        return {
            "plan": plan,
            "screen": screen,
            "patient": screen.patient,
            "clinic": clinic_of(self.request),
            "technique": technique_for(plan.goal),
            "techniques": list(TECHNIQUES.values()),
            "strips": strips,
            "layings": laying_lists(strips),
            "strip_form": strip,
            "lay_form": lay,
            "result": self.result_of(strip),
            "again": self._again(bool(strips)),
            "worn": selectors.worn_at(screen.patient, screen.region, screen.side),
            "shorter": self.shorter,
        }

    def _worked_out(self, row: Strip) -> PlanStrip:
        screen = self.plan.screen
        try:
            result = strip_result(values_of(row), goal=self.plan.goal, region=screen.region, answers=screen.answers)
        except (ImpossibleCut, UnfitShapeError):
            # The roll was measured anew since: the stored numbers stand, the drawing does not.
            result = None
        return PlanStrip(row, result)

    def _again(self, has_strips: bool) -> Any:
        screen = self.plan.screen
        return None if has_strips else selectors.last_like(screen.patient, screen.region, screen.side)


def laying_lists(strips: list[PlanStrip]) -> list[LayingList]:
    """The steps of each way of laying that is in the plan, once, with the strips it is for."""
    found: dict[tuple[LayingStep, ...], list[int]] = {}
    for row in strips:
        if row.result is not None:
            found.setdefault(row.result.steps, []).append(row.strip.position)
    return [LayingList(positions, steps) for steps, positions in found.items()]


def known_goal(word: str) -> Technique | None:
    return TECHNIQUES[Goal(word)] if word in set(Goal) else None
