"""The strip plan and the whole record of a tape on paper, for the clinic's own file."""

from dataclasses import dataclass
from typing import Any

from clinic.models import Clinic
from reminders.rules.words import place_words
from reminders.selectors.record import messages_of_tape, reports_of_tape, strip_events_of_tape
from reminders.sheets.images import data_address
from reminders.sheets.printing import sheet_html
from taping.drawings.strip import StripDrawing, strip_svg
from taping.models import Application, SkinScreen, Strip, StripPlan
from taping.rules.cut import ImpossibleCut
from taping.rules.places import PLACES
from taping.rules.report_signs import SIGNS
from taping.rules.shapes import UnfitShapeError
from taping.rules.skin import Answer
from taping.rules.skin_questions import QUESTION_BY_KEY, questions_for
from taping.rules.technique import technique_for
from taping.selectors import corrections_of, pain_scores, unit_of
from taping.services.strips import StripResult, strip_result, values_of

_ANSWERS = {
    Answer.YES.value: "yes",
    Answer.NO.value: "no",
    Answer.NOT_KNOWN.value: "not known",
    Answer.SORTED_OUT.value: "yes, put right since",
}


@dataclass(frozen=True, slots=True)
class PlannedStrip:
    """A strip with its working and drawing; both are empty where its roll was measured anew since."""

    strip: Strip
    place: str
    result: StripResult | None
    drawing: str


def plan_sheet(plan: StripPlan, *, clinic: Clinic) -> str:
    """The plan as HTML; plan with its screen, patient, strips and rolls, as plan_get reads it."""
    return sheet_html("plan", _plan(plan, clinic), clinic=clinic, title=f"Strip plan {plan.pk}")


def record_sheet(tape: Application, plan: StripPlan, *, clinic: Clinic) -> str:
    """Everything about one tape as HTML: screen, plan, times, messages, reports, ending. plan: as for plan_sheet."""
    context = _plan(plan, clinic) | {
        "tape": tape,
        "sent": messages_of_tape(tape),
        "reports": [(report, _signs(report.signs)) for report in reports_of_tape(tape)],
        "strip_events": strip_events_of_tape(tape),
        "pain": pain_scores(plan),
        "corrections": corrections_of(tape),
    }
    return sheet_html("record", context, clinic=clinic, title=f"Record of tape {tape.pk}")


def _plan(plan: StripPlan, clinic: Clinic) -> dict[str, Any]:
    screen = plan.screen
    return {
        "plan": plan,
        "screen": screen,
        "patient": screen.patient,
        "place": place_words(screen.region, screen.side),
        "technique": technique_for(plan.goal),
        "asked": _asked(screen, plan.goal),
        "strips": [_strip(row, plan, clinic) for row in plan.strips.all()],
    }


def _strip(row: Strip, plan: StripPlan, clinic: Clinic) -> PlannedStrip:
    place = PLACES[row.place].plain if row.place in PLACES else ""
    screen = plan.screen
    try:
        result = strip_result(values_of(row), goal=plan.goal, region=screen.region, answers=screen.answers)
    except (ImpossibleCut, UnfitShapeError):
        return PlannedStrip(row, place, None, "")
    drawing = StripDrawing(result.cut, result.shape, result.values.start, unit_of(clinic), f"strip{row.position}")
    return PlannedStrip(row, place, result, data_address(strip_svg(drawing)))


def _signs(keys: list[str]) -> str:
    known = {sign.key: sign.staff_words for sign in SIGNS}
    return "; ".join(known.get(key, key.replace("_", " ")) for key in keys)


def _asked(screen: SkinScreen, goal: str) -> list[tuple[str, str]]:
    """Every question of the screen and what was answered, no as well as yes; those not asked are said to be open."""
    answers = {**dict.fromkeys(question.key for question in questions_for(goal)), **screen.answers}
    return [(_question(key), _ANSWERS.get(answer or "", "not answered")) for key, answer in answers.items()]


def _question(key: str) -> str:
    known = QUESTION_BY_KEY.get(key)
    return known.text if known else key.replace("_", " ")
