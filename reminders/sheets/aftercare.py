"""The sheet that goes home with the patient: times, how the tape comes off in pictures, what to watch for, the code.

It speaks the language of whoever gets the messages, where somebody approved it, as the page and the messages do.
No surname, no birth date: whoever finds it on a bus learns a first name and a knee.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

from clinic.models import Clinic
from clinic.rules.tongue import Tongue
from reminders.rules.instruction import TapeNow, comes_off_words, instruction
from reminders.rules.removal_words import start_lines
from reminders.rules.words import day_words, direction_of, near_day_words, numbers_in, place_words
from reminders.selectors.link import reports_open
from reminders.services.links import link_code
from reminders.services.tape_now import signs_open, tape_now, tongue_for
from reminders.sheets.drawn import Picture, Where, pictures_of, steps_afterwards, steps_before, texts, wheres_of
from reminders.sheets.images import removal_image
from reminders.sheets.printing import sheet_html
from taping.models import Application
from taping.rules.clock import local_date
from taping.rules.places import Side
from taping.rules.removal import RAW_STEPS, WORN_CARE, Remover, is_raw
from taping.rules.wear_state import TapeState


class TapeIsOff(ValueError):
    """Nothing is left to hand out: the tape has come off."""


@dataclass(frozen=True, slots=True)
class Beneath:
    """A strip under the first one: its place in the order, its picture, and where to start."""

    words: str
    picture: Picture


def aftercare_sheet(tape: Application, *, clinic: Clinic, now: datetime) -> str:
    """The sheet of a tape that is on the skin, as HTML. now: aware. patient, helper and removal_visit are read.

    Raises TapeIsOff where the tape has come off.
    """
    if tape.ended_at is not None:
        raise TapeIsOff("This tape is off: there is nothing to hand out.")
    tongue = tongue_for(tape, clinic)
    facts, raw = tape_now(tape, clinic=clinic, now=now, tongue=tongue), is_raw(signs_open(reports_open(tape)))
    wheres = wheres_of(tape)
    drawn = facts.remover is not Remover.CLINIC and not raw
    context: dict[str, Any] = {
        "tape": tape,
        "when_closed": numbers_in(clinic.out_of_hours_advice),
        "closed_runs": direction_of(clinic.out_of_hours_advice),
        "call_me": tape.patient.call_me,
        "place": place_words(tape.region, tape.side, tongue),
        "heading": _heading(facts),
        "times": _times(facts, clinic),
        "comes_off": comes_off_words(facts),
        "home": facts.remover is Remover.HOME,
        "helper": facts.remover is Remover.HELPER,
        "raw": raw,
        "pictures": _drawn(wheres[0], tape, tongue) if drawn and wheres else (),
        "beneath": _beneath(tape, wheres, tongue) if drawn else (),
        "before": steps_before(wheres, tongue),
        "afterwards": steps_afterwards(tongue),
        "raw_steps": texts(RAW_STEPS, tongue),
        "worn": texts(WORN_CARE, tongue),
        "code": link_code(tape),
        "printed_on": day_words(local_date(now, facts.zone), tongue),
    }
    title = tongue.say("Your tape, sheet {number}", number=tape.pk)
    return sheet_html("aftercare", context, clinic=clinic, title=title, tongue=tongue)


def _heading(facts: TapeNow) -> str:
    """Today's one instruction where it is the day to act; before, that the tape stays on."""
    if facts.state in (TapeState.DUE, TapeState.OVERDUE):
        return instruction(facts).heading
    return facts.tongue.say("Your tape")


def _times(facts: TapeNow, clinic: Clinic) -> list[str]:
    """What may be done from when; times already past are left out."""
    say, today = facts.tongue.say, local_date(facts.now, clinic.zone)

    def at(moment: datetime) -> str:
        local = moment.astimezone(facts.zone)
        return say("{time} {day}", time=f"{local:%H:%M}", day=near_day_words(local.date(), today, facts.tongue))

    rows = [
        (
            facts.adhesion_ends_at,
            say("Easy movement from {time}, only as your therapist told you.", time=at(facts.adhesion_ends_at)),
        ),
        (facts.water_ends_at, say("Sweat, shower and swimming from {time}.", time=at(facts.water_ends_at))),
    ]
    return [sentence for moment, sentence in rows if moment > facts.now]


def _drawn(where: Where, tape: Application, tongue: Tongue, numbers: Sequence[int] = (1, 2, 3)) -> tuple[Picture, ...]:
    return pictures_of(where, Side(tape.side), partial(removal_image, tongue=tongue), numbers, tongue)


def _beneath(tape: Application, wheres: Sequence[Where], tongue: Tongue) -> list[Beneath]:
    """The strips under the top one, by the picture of the way to go and the sentence that says where to start."""
    sentences = start_lines(tape.region, [where.key for where in wheres], tongue)
    return [
        Beneath(words, *_drawn(where, tape, tongue, (2,)))
        for where, words in zip(wheres[1:], sentences[1:], strict=False)
    ]
