"""What stands on the patient's page: no surname, no date of birth, nothing but what helps with this tape."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from clinic.models import Clinic
from reminders.rules.instruction import TapeNow, comes_off_words, instruction
from reminders.rules.removal_words import removal_lines
from reminders.rules.words import day_words, place_words
from reminders.selectors.link import Opening, call_is_open, days_of, opening_at, reports_open, strips_top_first
from reminders.selectors.tapes import TapeRow, tape_row
from reminders.services.subjects import patient_zone, removal_visit_of
from reminders.services.undoing import undoable
from taping.models import Application, SkinReport
from taping.rules.clock import local_date
from taping.rules.removal import WORN_CARE, Remover
from taping.rules.report import Advice, advise
from taping.rules.wear_state import TapeState

EXACT_HOURS = timedelta(days=6)
UNDO_WORDS = {"off": "Undo: the tape is still on", "call": "Undo: I need no call"}


@dataclass(frozen=True, slots=True)
class Answer:
    """One button, with a line that says when it is meant.

    first: the one to press today; once: pressing it twice must not make two records.
    """

    what: str
    words: str
    hint: str = ""
    first: bool = False
    once: bool = False


@dataclass(frozen=True, slots=True)
class Day:
    """One line of the days."""

    day: str
    what: str
    here: bool


def public_context(clinic: Clinic) -> dict[str, Any]:
    """What every page for patients shows, also one for a link nobody knows."""
    dial = "".join(character for character in clinic.telephone if character.isdigit() or character == "+")
    return {"clinic": clinic, "dial": dial}


def link_context(tape: Application, *, token: str, clinic: Clinic, now: datetime) -> dict[str, Any]:
    """The patient's page of this tape at now (aware). Clock times are the patient's, days the clinic's."""
    row, facts = tape_row(tape, now=now, zone=clinic.zone), _facts(tape, clinic, now)
    reports = reports_open(tape)
    on_skin = row.state is not TapeState.OFF
    opening = opening_at(now, clinic.zone)
    return public_context(clinic) | {
        "token": token,
        "call_me": tape.patient.call_me,
        "place": place_words(tape.region, tape.side),
        "first": instruction(facts),
        "advice": _advice(tape, reports) if reports else None,
        "read_when": read_when(opening, now, facts.zone),
        "closed": not opening.open_now,
        "call_asked": call_is_open(tape),
        "on_skin": on_skin,
        "undos": [(what, UNDO_WORDS[what]) for what in undoable(application=tape, now=now)],
        "answers": _answers(row, on_skin, bool(reports)),
        "steps": _steps(tape, reports) if on_skin else (),
        "steps_heading": _steps_heading(tape),
        "worn": WORN_CARE,
        "days": _days(tape, now, clinic.zone),
    }


def still_so(done: str, context: dict[str, Any]) -> bool:
    """Whether the thanks for an answer are still true: an old page, reloaded, must not say that tape is off."""
    true = {"off": not context["on_skin"], "skin": context["advice"] is not None, "call": context["call_asked"]}
    return bool(true.get("off" if done == "came-off" else done, True))


def read_when(opening: Opening, now: datetime, zone: ZoneInfo) -> str:
    """When somebody reads what the patient just sent."""
    if opening.open_now:
        return "We are open now: somebody reads this today."
    if opening.opens_at is None or opening.opens_at - now > EXACT_HOURS:
        return "We are closed now. Please follow what is said below for when we are closed."
    at = opening.opens_at.astimezone(zone)
    return f"We are closed now. Somebody reads this from {day_words(at.date())}, {at:%H:%M}."


def comes_off(tape: Application, *, clinic: Clinic, now: datetime) -> str:
    """On which day the tape comes off and by whom; empty where it is off."""
    return "" if tape.ended_at else comes_off_words(_facts(tape, clinic, now))


def _facts(tape: Application, clinic: Clinic, now: datetime) -> TapeNow:
    row, visit = tape_row(tape, now=now, zone=clinic.zone), removal_visit_of(tape)
    return TapeNow(
        state=row.state,
        now=now,
        zone=patient_zone(tape.patient, clinic),
        adhesion_ends_at=row.adhesion_ends_at,
        water_ends_at=row.water_ends_at,
        removal_day=tape.removal_day,
        remover=_remover(tape),
        visit_at=visit.starts_at if visit else None,
        helper=tape.helper.call_me if tape.helper else "",
        ended_on=local_date(tape.ended_at, clinic.zone) if tape.ended_at else None,
    )


def _remover(tape: Application) -> Remover:
    """Who takes it off now: the clinic where a visit for it stands, as in the messages, else whoever was chosen."""
    return Remover.CLINIC if removal_visit_of(tape) else Remover(tape.removal)


def _signs(reports: Sequence[SkinReport]) -> list[str]:
    """Every sign nobody has looked at yet: a later, milder report takes nothing back."""
    return [sign for report in reports for sign in report.signs]


def _advice(tape: Application, reports: Sequence[SkinReport]) -> Advice:
    """What the rules say now about all that was reported: a tape that has come off since no longer has to.

    A report in words alone is urgent by itself, so that signs ticked in another must not outvote it.
    """
    on, latest = tape.ended_at is None, reports[0].minutes_after_removal
    said = [(_signs(reports), latest), *((report.signs, report.minutes_after_removal) for report in reports)]
    found = [advise(signs, on, minutes, remover=_remover(tape)) for signs, minutes in said]
    return max(found, key=lambda one: one.urgency.rank)


def _answers(row: TapeRow, on_skin: bool, reported: bool) -> tuple[Answer, ...]:
    skin, call = Answer("skin", "My skin is reacting"), Answer("call", "Please call me", once=True)
    if not on_skin:
        return skin, call
    due, theirs = row.state in (TapeState.DUE, TapeState.OVERDUE), _remover(row.application) is not Remover.CLINIC
    call = replace(call, first=due and not theirs)
    # While a reaction stands, no button may seem to ask for the tape to be pulled off.
    off = Answer("off", "It is off", "You, or somebody with you, took it off.", first=due and theirs and not reported)
    return off, Answer("came-off", "It came off early", "It fell off or came loose by itself."), skin, call


def _steps(tape: Application, reports: Sequence[SkinReport]) -> tuple[str, ...]:
    if _remover(tape) is Remover.CLINIC:
        return ()
    places = [strip.place for strip in strips_top_first(tape)]
    return removal_lines(tape.region, places, _signs(reports))


def _steps_heading(tape: Application) -> str:
    return "How it comes off" if tape.removal == Remover.HOME else "For your helper: how it comes off"


def _days(tape: Application, now: datetime, zone: ZoneInfo) -> list[Day]:
    today = local_date(now, zone)
    words = {tape.removal_day: "comes off"}
    return [
        Day(day_words(day), words.get(day) or _day_word(tape, number, day >= tape.opens_on), day == today)
        for number, day in enumerate(days_of(tape, zone))
    ]


def _day_word(tape: Application, number: int, in_window: bool) -> str:
    if number == 0:
        return "tape went on"
    return "may come off" if in_window else "tape on"
