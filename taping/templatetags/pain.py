"""Pain scores in templates: {% pain_asked plan "before" back=address %}, and the scores of a taping in one line."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django import template

from taping import selectors
from taping.models import PainScore, StripPlan
from taping.rules.pain import LEAST_WORDS, MOST_WORDS, SCORES
from taping.services.pain import MOST_WHY

register = template.Library()


@dataclass(frozen=True, slots=True)
class Asked:
    """One moment of one taping on a page: what was said last, and what stood before a correction, the newest first."""

    moment: PainScore.Moment
    said: PainScore | None
    before: tuple[PainScore, ...]


def asked(moment: str, scores: Iterable[PainScore]) -> Asked:
    rows = sorted((row for row in scores if row.moment == moment), key=lambda row: row.pk, reverse=True)
    return Asked(PainScore.Moment(moment), rows[0] if rows else None, tuple(rows[1:]))


def pain_context(plan: StripPlan, moments: Iterable[Asked], next_address: str, **more: Any) -> dict[str, Any]:
    """What taping/_pain.html shows. next_address: where the answer leads without JavaScript."""
    return {
        "plan": plan,
        "moments": list(moments),
        "next": next_address,
        "scores": SCORES,
        "least": LEAST_WORDS,
        "most": MOST_WORDS,
        "most_why": MOST_WHY,
        **more,
    }


@register.simple_tag
def pain_said(plan: StripPlan) -> list[PainScore]:
    """Every score of the plan, read once for a page that asks in two places."""
    return selectors.pain_scores(plan)


@register.inclusion_tag("taping/_pain.html")
def pain_asked(
    plan: StripPlan, *moments: str, back: str = "", open_still: bool = False, said: Sequence[PainScore] | None = None
) -> dict[str, Any]:
    """The row of eleven buttons for each of moments ("before", "after", "next"); no answer is needed for anything.

    back: where an answer leads without JavaScript. open_still: nothing was said yet, as the page knows. said: the
    scores of the plan, where the page has read them.
    """
    scores = said if said is not None else [] if open_still else selectors.pain_scores(plan)
    return pain_context(plan, [asked(moment, scores) for moment in moments], back)
