"""What the page of a strip plan shows."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from clinic.models import User
from clinic.selectors import therapists
from clinic.views.access import clinic_of, user_of
from taping import selectors
from taping.forms.laying import Asked, LayForm
from taping.forms.strips import StripForm, initial_for, initial_of
from taping.models import Strip, StripPlan, TapeRoll
from taping.rules.amounts import BadNumberError
from taping.rules.cut import ImpossibleCut
from taping.rules.lengths import Unit
from taping.rules.shapes import UnfitShapeError
from taping.rules.skin import Answer, Outcome
from taping.rules.technique import TECHNIQUES, technique_for
from taping.rules.wear import ShorterWear, suggest_shorter
from taping.selectors import unit_of
from taping.services.again import Again, again_of
from taping.services.laying import laying_lists
from taping.services.plans import PlanChanged
from taping.services.strips import StripResult, StripValues, strip_result, values_of
from taping.views.rolls import KEEPERS


@dataclass(frozen=True, slots=True)
class PlanStrip:
    """A stored strip with its working, or without where it can no longer be worked out."""

    strip: Strip
    result: StripResult | None


@dataclass(frozen=True, slots=True)
class Differing:
    """Words that another tablet saved, beside those typed here."""

    label: str
    stored: str
    typed: str


@dataclass
class PlanPage:
    """A plan on its way to the page, with the forms that stand on it. now: aware; typed: what is to stay in them."""

    request: HttpRequest
    plan: StripPlan
    now: datetime
    rolls: list[TapeRoll]

    @property
    def unit(self) -> Unit:
        return unit_of(clinic_of(self.request))

    def strip_form(
        self, data: Any = None, *, typed: Mapping[str, str] | None = None, strip: Strip | None = None
    ) -> StripForm:
        """Bound to data; or begun with what is taught for the goal, with strip, or with what was typed before."""
        initial = initial_for(technique_for(self.plan.goal), self.unit, self.rolls)
        if strip is not None:
            initial = {**initial, **initial_of(strip)}
        form = StripForm(data, plan=self.plan, unit=self.unit, rolls=self.rolls, initial=initial)
        if typed:
            form.initial.update({name: typed[name] for name in form.fields if name in typed})
            form.initial["off_paper"] = "off_paper" in typed
        return form

    def lay_form(self, data: Any = None, *, typed: Mapping[str, Any] | None = None) -> LayForm:
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
            layings=laying_lists((row.strip.position, row.result.steps) for row in self.strips if row.result),
        )
        kept = {name: typed[name] for name in LayForm.base_fields if name in typed} if typed else {}
        form = LayForm(data, asked=asked, initial=initial | kept)
        if typed:
            form.initial.update({name: typed[name] for name in form.fields if name in typed and name != "steps"})
            if typed.get("steps_shown"):
                form.initial["steps"] = typed.getlist("steps") if hasattr(typed, "getlist") else typed.get("steps", [])
        return form

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

    @cached_property
    def strips(self) -> list[PlanStrip]:
        return [self._worked_out(row) for row in self.plan.strips.all()]

    def result_of(self, form: StripForm) -> StripResult | None:
        """The working of a form as far as it can be reckoned: also of a strip that was refused."""
        return self._result(form.worked) if form.worked is not None else None

    def _result(self, values: StripValues) -> StripResult:
        screen = self.plan.screen
        return strip_result(values, goal=self.plan.goal, region=screen.region, answers=screen.answers, unit=self.unit)

    def context(self, strip: StripForm, lay: LayForm, **more: Any) -> dict[str, Any]:
        plan, screen = self.plan, self.plan.screen
        return {
            "plan": plan,
            "screen": screen,
            "patient": screen.patient,
            "clinic": clinic_of(self.request),
            "technique": technique_for(plan.goal),
            "techniques": list(TECHNIQUES.values()),
            "strips": self.strips,
            "strip_form": strip,
            "lay_form": lay,
            "result": self.result_of(strip),
            "inches": self.unit is Unit.INCH,
            "again": self._again() if not self.strips else None,
            "again_address": reverse("plan_again", args=[plan.pk]),
            "worn": selectors.worn_at(screen.patient, screen.region, screen.side),
            "reports": list(selectors.reports_open_at(screen.patient, screen.region, screen.side)),
            "shorter": self.shorter,
            "keeps_rolls": bool(user_of(self.request).roles.intersection(KEEPERS)),
            **more,
        }

    def _worked_out(self, row: Strip) -> PlanStrip:
        try:
            return PlanStrip(row, self._result(values_of(row)))
        except (ImpossibleCut, UnfitShapeError, BadNumberError):
            # The roll was measured anew since: the stored numbers stand, the drawing does not.
            return PlanStrip(row, None)

    def _again(self) -> Again | None:
        screen = self.plan.screen
        last = selectors.last_like(screen.patient, screen.region, screen.side)
        if last is None or last.ended_at is None:
            return None
        return again_of(last, clinic_of(self.request))


def differing(changed: PlanChanged, typed: Mapping[str, str]) -> list[Differing]:
    """The words of the plan that another tablet saved otherwise than they were typed here."""
    stored = changed.current
    rows = [
        Differing("Posture while measuring and taping", stored.posture, typed.get("posture", stored.posture).strip()),
        Differing("Reason for taping", stored.reason, typed.get("reason", stored.reason).strip()),
    ]
    return [row for row in rows if row.stored != row.typed]
