"""What stands on the patient's page: no surname, no date of birth, nothing but what helps with this tape."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from clinic.models import Clinic
from clinic.rules.tongue import Tongue, tongue_of
from reminders.models import Link
from reminders.rules.instruction import comes_off_words, instruction
from reminders.rules.opening import Opening
from reminders.rules.removal_words import removal_lines
from reminders.rules.wear_calendar import SHORT_WEEKDAYS, Cell, DayMark, day_mark, first_weekday, weeks
from reminders.rules.words import WEEKDAYS, day_words, numbers_in, place_words, places_together
from reminders.selectors.link import call_is_open, days_of, opening_at, other_places, reports_open
from reminders.selectors.tapes import TapeRow, tape_row
from reminders.services.links import link_token
from reminders.services.tape_now import remover_of, signs_open, tape_now, tongue_for
from reminders.services.undoing import undoable
from reminders.sheets.drawn import DrawnStrip, steps_afterwards, steps_before, strips_drawn, wheres_of
from taping.models import Application, SkinReport
from taping.rules.clock import local_date
from taping.rules.places import Side
from taping.rules.removal import WORN_CARE, Remover, is_raw
from taping.rules.report import Advice, advise
from taping.rules.wear_state import TapeState
from taping.views.pictures import picture_address

EXACT_HOURS = timedelta(days=6)


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
    date: date
    mark: DayMark


@dataclass(frozen=True, slots=True)
class Calendar:
    """The same days as squares; heads are pairs of a short and a whole weekday, cells a square and its line, if any."""

    heads: tuple[tuple[str, str], ...]
    weeks: tuple[tuple[tuple[Cell, Day | None], ...], ...]


def public_context(clinic: Clinic, tongue: Tongue | None = None) -> dict[str, Any]:
    """What every page for patients shows, also one for a link nobody knows, which speaks the clinic's language."""
    dial = "".join(character for character in clinic.telephone if character.isdigit() or character == "+")
    tongue = tongue or tongue_of(clinic.language)
    return {"clinic": clinic, "dial": dial, "when_closed": numbers_in(clinic.out_of_hours_advice), "tongue": tongue}


def link_context(tape: Application, *, token: str, clinic: Clinic, now: datetime) -> dict[str, Any]:
    """The patient's page of this tape at now (aware). Clock times are the patient's, days the clinic's."""
    tongue = tongue_for(tape, clinic)
    row, facts = tape_row(tape, now=now, zone=clinic.zone), tape_now(tape, clinic=clinic, now=now, tongue=tongue)
    reports = reports_open(tape)
    on_skin = row.state is not TapeState.OFF
    opening = opening_at(now, clinic.zone)
    undo_words = {"off": tongue.say("Undo: the tape is still on"), "call": tongue.say("Undo: I need no call")}
    return public_context(clinic, tongue) | {
        "token": token,
        "call_me": tape.patient.call_me,
        "place": place_words(tape.region, tape.side, tongue),
        "first": instruction(facts),
        "advice": _advice(tape, reports) if reports else None,
        "read_when": read_when(opening, now, facts.zone, tongue),
        "closed": not opening.open_now,
        "call_asked": call_is_open(tape),
        "on_skin": on_skin,
        "undos": [(what, undo_words[what]) for what in undoable(application=tape, now=now)],
        "answers": _answers(row, tongue, on_skin=on_skin, reported=bool(reports)),
        "how": _how(tape, reports, tongue) if on_skin else None,
        "others": places_together(other_places(tape), tongue) if on_skin else "",
        "worn": WORN_CARE,
        "days": (days := _days(tape, now, clinic.zone, tongue)),
        "calendar": _calendar(days, first_weekday(clinic.country), tongue),
        "stop_token": link_token(tape, Link.Purpose.STOP),
    }


def still_so(done: str, context: dict[str, Any]) -> bool:
    """Whether the thanks for an answer are still true: an old page, reloaded, must not say that tape is off."""
    true = {"off": not context["on_skin"], "skin": context["advice"] is not None, "call": context["call_asked"]}
    return bool(true.get("off" if done == "came-off" else done, True))


def thanks_for(done: str, context: dict[str, Any]) -> dict[str, str]:
    """What is said at once after an answer, in the page's language."""
    say = context["tongue"].say
    no_more = say("We send no more messages about taking it off.")
    heading, text = {
        "off": (say("Thank you. We noted that the tape is off."), no_more),
        "came-off": (say("Thank you. We noted that it came off early."), no_more),
        "skin": (
            say("Thank you. A therapist reads what you sent."),
            say("Do now what stands below; do not wait for us."),
        ),
        "call": (say("Thank you. We call you."), context["read_when"]),
        "undo": (say("Undone."), say("Everything is as it was before.")),
    }[done]
    return {"heading": heading, "text": text}


def read_when(opening: Opening, now: datetime, zone: ZoneInfo, tongue: Tongue) -> str:
    """When somebody reads what the patient just sent."""
    if opening.open_now:
        return tongue.say("We are open now: somebody reads this today.")
    if opening.opens_at is None or opening.opens_at - now > EXACT_HOURS:
        return tongue.say("We are closed now. Please follow what is said below for when we are closed.")
    at = opening.opens_at.astimezone(zone)
    return tongue.say(
        "We are closed now. Somebody reads this from {day}, {time}.",
        day=day_words(at.date(), tongue),
        time=f"{at:%H:%M}",
    )


def comes_off(tape: Application, *, clinic: Clinic, now: datetime) -> str:
    """On which day the tape comes off and by whom; empty where it is off."""
    tongue = tongue_for(tape, clinic)
    return "" if tape.ended_at else comes_off_words(tape_now(tape, clinic=clinic, now=now, tongue=tongue))


def _advice(tape: Application, reports: Sequence[SkinReport]) -> Advice:
    """What the rules say now about all that was reported: a tape that has come off since no longer has to.

    A report in words alone is urgent by itself, so that signs ticked in another must not outvote it.
    """
    on, latest = tape.ended_at is None, reports[0].minutes_after_removal
    said = [(signs_open(reports), latest), *((report.signs, report.minutes_after_removal) for report in reports)]
    found = [advise(signs, on, minutes, remover=remover_of(tape)) for signs, minutes in said]
    return max(found, key=lambda one: one.urgency.rank)


def _answers(row: TapeRow, tongue: Tongue, *, on_skin: bool, reported: bool) -> tuple[Answer, ...]:
    say = tongue.say
    skin, call = Answer("skin", say("My skin is reacting")), Answer("call", say("Please call me"), once=True)
    if not on_skin:
        return skin, call
    due, theirs = row.state in (TapeState.DUE, TapeState.OVERDUE), remover_of(row.application) is not Remover.CLINIC
    call = replace(call, first=due and not theirs)
    # While a reaction stands, no button may seem to ask for the tape to be pulled off.
    first = due and theirs and not reported
    off = Answer("off", say("It is off"), say("You, or somebody with you, took it off."), first=first)
    came_off = Answer("came-off", say("It came off early"), say("It fell off or came loose by itself."))
    return off, came_off, skin, call


@dataclass(frozen=True, slots=True)
class How:
    """How it comes off: what comes first, the pictures of each strip, and what comes last."""

    heading: str
    before: tuple[str, ...]
    strips: tuple[DrawnStrip, ...] = ()
    afterwards: tuple[str, ...] = ()


def _how(tape: Application, reports: Sequence[SkinReport], tongue: Tongue) -> How | None:
    """None where the clinic takes it off; over raw skin words alone, since every picture pulls."""
    if remover_of(tape) is Remover.CLINIC:
        return None
    at_home = tape.removal == Remover.HOME
    heading = tongue.say("How it comes off") if at_home else tongue.say("For your helper: how it comes off")
    wheres, signs = wheres_of(tape), signs_open(reports)
    if is_raw(signs) or not wheres:
        return How(heading, removal_lines(tape.region, [where.key for where in wheres], signs, tongue))
    strips = strips_drawn(wheres, Side(tape.side), partial(picture_address, tongue=tongue), tongue)
    return How(heading, tuple(steps_before(wheres, tongue)), tuple(strips), tuple(steps_afterwards(tongue)))


def _days(tape: Application, now: datetime, zone: ZoneInfo, tongue: Tongue) -> list[Day]:
    today = local_date(now, zone)
    days = days_of(tape, zone)
    # Worn longer than it should be, each day since then counts and says so.
    days += [days[-1] + timedelta(days=number) for number in range(1, (today - days[-1]).days + 1)]
    marks = {day: _mark(tape, day, days[0]) for day in days}
    return [
        Day(day_words(day, tongue), _day_word(mark, tongue), day == today, day, mark) for day, mark in marks.items()
    ]


def _mark(tape: Application, day: date, went_on: date) -> DayMark:
    window = {"opens_on": tape.opens_on, "closes_on": tape.closes_on, "removal_day": tape.removal_day}
    return day_mark(day, went_on=went_on, **window)


def _day_word(mark: DayMark, tongue: Tongue) -> str:
    return {
        DayMark.LATE: tongue.say("should be off"),
        DayMark.OFF: tongue.say("comes off"),
        DayMark.WENT_ON: tongue.say("tape went on"),
        DayMark.MAY: tongue.say("may come off"),
        DayMark.WORN: tongue.say("tape on"),
    }[mark]


def _calendar(days: Sequence[Day], begins: int, tongue: Tongue) -> Calendar:
    lines = {day.date: day for day in days}
    order = [(begins + number) % 7 for number in range(7)]
    return Calendar(
        tuple((tongue.say(SHORT_WEEKDAYS[one]), tongue.say(WEEKDAYS[one])) for one in order),
        tuple(
            tuple((cell, lines.get(cell.day)) for cell in week)
            for week in weeks({day.date: day.mark for day in days}, begins)
        ),
    )
