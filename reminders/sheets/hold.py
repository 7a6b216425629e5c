"""The sheet of a screen that permits no tape: why, what was advised, and who must see the patient.

It speaks the language of whoever gets the patient's messages, where somebody approved it. Whoever the patient is sent
to may not read that language, nor the therapist who hands it over: then the same follows in the clinic's own.
"""

from typing import Any

from clinic.models import Clinic
from clinic.rules.tongue import Tongue, tongue_of
from clinic.selectors import recipient_of
from reminders.rules.words import direction_of, numbers_in, place_words, year_day_words
from reminders.sheets.printing import sheet_html
from taping.models import SkinScreen
from taping.rules.clock import local_date
from taping.rules.hold import held, seen_by
from taping.rules.skin import Outcome
from taping.rules.skin_application import PERMITS


class ScreenPermits(ValueError):
    """This screen holds nothing back."""


_HOLDS = frozenset({Outcome.DO_NOT_TAPE, Outcome.PREPARE_FIRST})


def hold_sheets(screen: SkinScreen, *, clinic: Clinic) -> list[str]:
    """The sheet as HTML in the patient's language, then in the clinic's where that is another one.

    screen with its patient and asked_by. The therapist's own note is not on it. Raises ScreenPermits where the outcome
    permits tape.
    """
    if screen.outcome in PERMITS or screen.outcome not in _HOLDS:
        raise ScreenPermits("This screen permits tape: there is nothing to hand out.")
    spoken = clinic.speaks(recipient_of(screen.patient).language)
    return [_sheet(screen, clinic, tongue_of(key)) for key in dict.fromkeys((spoken, clinic.language))]


def _sheet(screen: SkinScreen, clinic: Clinic, tongue: Tongue) -> str:
    patient, place = screen.patient, place_words(screen.region, screen.side, tongue)
    say, to_put_right = tongue.say, screen.outcome == Outcome.PREPARE_FIRST
    asked_on = year_day_words(local_date(screen.made_at, clinic.zone), tongue)
    heading = say("No tape yet: {place}", place=place) if to_put_right else say("No tape today: {place}", place=place)
    context: dict[str, Any] = {
        "screen": screen,
        "patient": patient,
        "born": year_day_words(patient.born, tongue) if patient.born else "",
        "asked_on": asked_on,
        "asked": say("{day}, {time}", day=asked_on, time=f"{screen.made_at.astimezone(clinic.zone):%H:%M}"),
        "heading": heading,
        "to_put_right": to_put_right,
        "seen": seen_by(screen.reasons, tongue),
        "reasons": held(screen.reasons, tongue),
        "when_closed": numbers_in(clinic.out_of_hours_advice),
        "closed_runs": direction_of(clinic.out_of_hours_advice),
    }
    title = tongue.say("No tape, sheet {number}", number=screen.pk)
    return sheet_html("hold", context, clinic=clinic, title=title, tongue=tongue)
