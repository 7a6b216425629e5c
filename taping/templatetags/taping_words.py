"""Places, lengths and outcomes in the words of the taping pages."""

from dataclasses import dataclass

from django import template
from django.utils.safestring import SafeString, mark_safe

from clinic.models import Clinic
from taping.drawings.strip import StripDrawing, strip_svg
from taping.rules.cut import ShareRange
from taping.rules.lengths import format_length
from taping.rules.places import UnknownRegionError, UnknownSideError, region_words
from taping.rules.shape_kinds import SHAPES, ShapeKind
from taping.rules.skin import OUTCOME_TEXT, Outcome
from taping.rules.technique import TECHNIQUES, Goal, step_text
from taping.selectors import unit_of
from taping.services.strips import StripResult

register = template.Library()


@dataclass(frozen=True, slots=True)
class OutcomeSign:
    """What the state fragment draws for an outcome, and the tone of the notice around it."""

    word: str
    shape: str
    tone: str


_SIGNS = {
    Outcome.UNFINISHED: OutcomeSign("unfinished", "half", "info"),
    Outcome.DO_NOT_TAPE: OutcomeSign("do not tape", "stop", "stop"),
    Outcome.PREPARE_FIRST: OutcomeSign("prepare first", "flag", "care"),
    Outcome.CLEAR_WITH_CARE: OutcomeSign("clear with care", "bang", "care"),
    Outcome.CLEAR: OutcomeSign("clear", "check", "good"),
}


@register.filter
def place_of(row: object) -> str:
    """ "left knee", for anything with a region and a side."""
    region, side = getattr(row, "region", ""), getattr(row, "side", "")
    try:
        return region_words(region, side)
    except (UnknownRegionError, UnknownSideError):
        return f"{side} {region}".replace("_", " ").strip()


@register.filter
def of_the_tape(shares: ShareRange) -> str:
    """What stands behind a range of tension; tape that lies loose throughout is loose, not loose of anything."""
    return "" if shares.high < 0 else " of what this tape can give"


@register.filter
def outcome_sign(outcome: str) -> OutcomeSign:
    return _SIGNS[Outcome(outcome)]


@register.filter
def outcome_words(outcome: str) -> str:
    return OUTCOME_TEXT[Outcome(outcome)]


@register.filter
def as_length(length_mm: float, clinic: Clinic) -> str:
    """A length in the clinic's unit, with it."""
    return format_length(length_mm, unit_of(clinic))


@register.filter
def shape_label(kind: str) -> str:
    """ "Y strip" """
    return SHAPES[ShapeKind(kind)].label


@register.filter
def goal_label(goal: str) -> str:
    """ "ease a sore spot" """
    return TECHNIQUES[Goal(goal)].label if goal in set(Goal) else goal.replace("_", " ")


@register.filter
def step_words(key: str) -> str:
    """The words of a step of laying."""
    return step_text(key)


@register.filter
def steps_in(row: dict[str, list[str]]) -> int:
    """How many steps a row of the record of laying lists."""
    return len(row["done"]) + len(row["left_out"])


@register.filter
def slug_dots(name: str) -> str:
    """A name as part of an id."""
    return name.replace(".", "-")


@register.filter
def squares(count: float) -> str:
    """ "5.7 squares" """
    shown = f"{count:.1f}".removesuffix(".0")
    return f"{shown} square{'' if shown == '1' else 's'}"


@register.simple_tag
def strip_picture(result: StripResult, clinic: Clinic, key: str) -> SafeString:
    """The drawing of a strip; our own SVG, every text in it escaped where it is made."""
    drawing = StripDrawing(result.cut, result.shape, result.values.start, unit_of(clinic), str(key))
    return mark_safe(strip_svg(drawing))
