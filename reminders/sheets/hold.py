"""The sheet of a screen that permits no tape: why, what was advised, and who must see the patient."""

from typing import Any

from clinic.models import Clinic
from reminders.rules.words import place_words
from reminders.sheets.printing import sheet_html
from taping.models import SkinScreen
from taping.rules.skin import Outcome
from taping.rules.skin_application import PERMITS


class ScreenPermits(ValueError):
    """This screen holds nothing back."""


_SEEN = {"emergency": "To be seen now", "today": "To be seen today"}
_HEADINGS = {
    Outcome.DO_NOT_TAPE: "No tape today",
    Outcome.PREPARE_FIRST: "No tape yet: to be put right first",
}


def hold_sheet(screen: SkinScreen, *, clinic: Clinic) -> str:
    """The sheet as HTML; screen with its patient and asked_by. The therapist's own note is not on it.

    Raises ScreenPermits where the outcome permits tape.
    """
    if screen.outcome in PERMITS or screen.outcome not in _HEADINGS:
        raise ScreenPermits("This screen permits tape: there is nothing to hand out.")
    context: dict[str, Any] = {
        "screen": screen,
        "patient": screen.patient,
        "place": place_words(screen.region, screen.side),
        "heading": _HEADINGS[Outcome(screen.outcome)],
        "seen": [(_SEEN.get(row["urgency"], "To be asked soon"), row["who"]) for row in screen.reasons if row["who"]],
        "reasons": screen.reasons,
    }
    return sheet_html("hold", context, clinic=clinic, title=f"No tape, screen {screen.pk}")
