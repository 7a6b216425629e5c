"""What is typed on the plan's page and not saved yet, kept from one answer of the server to the next page."""

from collections.abc import Collection, Mapping

from django.http import HttpRequest, QueryDict

from taping.forms.laying import LayForm
from taping.forms.strips import StripForm
from taping.models import StripPlan
from taping.rules.removal import REMOVAL_QUESTIONS

STRIP_NAMES = frozenset({*StripForm.field_order, "position"})
TAUGHT_NAMES = frozenset({"tension", "shape", "tails", "start", "direction"})
"""What another goal suggests anew."""
LAY_NAMES = frozenset(
    {
        *LayForm.base_fields,
        "side",
        "helper",
        "last_day",
        "supervisor",
        *(question.key for question in REMOVAL_QUESTIONS),
    }
) - {"version", "steps_shown"}


def typed_keep(request: HttpRequest, plan: StripPlan, *, without: Collection[str] = ()) -> None:
    """Keep what this post holds for the next page of the plan; on the server, until it is shown or the log-out."""
    names = (STRIP_NAMES | LAY_NAMES) - set(without)
    kept = {name: value for name, value in request.POST.items() if name in names and isinstance(value, str)}
    if kept:
        request.session[_key(plan)] = kept


def typed_take(request: HttpRequest, plan: StripPlan) -> Mapping[str, str]:
    """What was kept, once."""
    kept: Mapping[str, str] = request.session.pop(_key(plan), {})
    return kept


def position_in(typed: Mapping[str, str] | QueryDict) -> int | None:
    """The position of the strip that is being changed; None for a new one."""
    text = typed.get("position") or ""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 4 else None


def _key(plan: StripPlan) -> str:
    return f"typed-plan-{plan.pk}"
