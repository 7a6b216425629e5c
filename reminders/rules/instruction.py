"""What the patient's page says first: the one thing to do now.

The sentences are common practice, no source; the waits and days behind them are the clinic's numbers. Nothing here
permits exercise or calls skin fine, and where somebody else takes the tape off no sentence says to do it alone.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant
from reminders.rules.words import day_words
from taping.rules.removal import Remover
from taping.rules.wear_state import TapeState


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeNow:
    """One tape at `now`. Times are aware and shown on the clock of `zone`; days are the clinic's.

    `visit_at` is the start of the removal visit, None without one; `helper` what the helper is called, or empty;
    `ended_on` the day it came off, None while it is on.
    """

    state: TapeState
    now: datetime
    zone: ZoneInfo
    adhesion_ends_at: datetime
    water_ends_at: datetime
    removal_day: date
    remover: Remover
    visit_at: datetime | None = None
    helper: str = ""
    ended_on: date | None = None


@dataclass(frozen=True, slots=True)
class Instruction:
    """One sentence in large type, and what belongs to it."""

    heading: str
    lines: tuple[str, ...]


def instruction(tape: TapeNow) -> Instruction:
    """Return what to do now about this tape. Raises ValueError for naive times."""
    now = as_instant(tape.now, "now")
    as_instant(tape.adhesion_ends_at, "adhesion_ends_at")
    if tape.state is TapeState.ON and now < as_instant(tape.water_ends_at, "water_ends_at"):
        return _drying(tape)
    return _BY_STATE[tape.state](tape)


def comes_off_words(tape: TapeNow) -> str:
    """Return on which day the tape comes off and by whom, in one or two sentences."""
    day = day_words(tape.removal_day)
    if tape.remover is Remover.HOME:
        return f"It comes off on {day}. You take it off at home."
    if tape.remover is Remover.HELPER:
        return f"It comes off on {day}. {_helper(tape)} takes it off. Please do not take it off alone."
    if tape.visit_at is None:
        return f"It comes off on {day} at the clinic. Please call us for a time. Please do not take it off yourself."
    return (
        f"It comes off on {day}. We take it off at {_clock(tape, tape.visit_at)}. Please do not take it off yourself."
    )


def _setting(tape: TapeNow) -> Instruction:
    return Instruction(
        f"Rest until {_clock(tape, tape.adhesion_ends_at)}.",
        (
            "Your tape is setting. Move the taped part as little as you can.",
            f"Easy movement from {_clock(tape, tape.adhesion_ends_at)}, only as your therapist told you.",
            f"Sweat, shower and swimming from {_clock(tape, tape.water_ends_at)}.",
            comes_off_words(tape),
        ),
    )


def _drying(tape: TapeNow) -> Instruction:
    return Instruction(
        f"Keep the tape dry until {_clock(tape, tape.water_ends_at)}.",
        ("No sweat, shower or swimming until then. Move only as your therapist told you.", comes_off_words(tape)),
    )


def _on(tape: TapeNow) -> Instruction:
    return Instruction("Leave the tape on.", (comes_off_words(tape), _SOONER[tape.remover]))


def _due(tape: TapeNow) -> Instruction:
    if tape.remover is Remover.HOME:
        return Instruction("Take the tape off today.", (_TAKE_TIME, "Then tell us: press “It is off”."))
    if tape.remover is Remover.HELPER:
        heading = f"{_helper(tape)} takes the tape off today."
        return Instruction(heading, ("Please do not take it off alone.", _TAKE_TIME, "Then press “It is off”."))
    if tape.visit_at is not None and tape.now < tape.visit_at:
        heading = f"We take the tape off today at {_clock(tape, tape.visit_at)}."
        return Instruction(heading, ("Please do not take it off yourself.",))
    return Instruction("The tape comes off today. Please call us for a time.", ("Please do not take it off yourself.",))


def _overdue(tape: TapeNow) -> Instruction:
    late = "It has been on longer than it should be."
    if tape.remover is Remover.HOME:
        return Instruction("Take the tape off now, slowly.", (late, "Is it off already? Press “It is off”."))
    if tape.remover is Remover.HELPER:
        heading = f"Ask {_helper(tape, start=False)} to take the tape off today, or call us."
        return Instruction(heading, (late, "Please do not take it off alone. Is it off already? Press “It is off”."))
    lines = (late, "Please do not take it off yourself. Is it off already? Press “It is off”.")
    return Instruction("Please call us today: the tape has to come off.", lines)


def _off(tape: TapeNow) -> Instruction:
    noted = f"We noted {day_words(tape.ended_on)}." if tape.ended_on else "We noted it."
    return Instruction("The tape is off. Thank you.", (noted, _LOOK_AGAIN))


_TAKE_TIME = "Take your time. The steps are below."
_LOOK_AGAIN = (
    "Look at the skin again today and tomorrow: itching can still come. If it is redder, darker or purple compared "
    "with the skin around it, warmer, or sore, press “My skin is reacting”."
)
_SOONER = {
    Remover.HOME: "Earlier is always allowed: the steps are below.",
    Remover.HELPER: "Earlier is always allowed, with your helper or with us.",
    Remover.CLINIC: "Earlier is always allowed: call us.",
}
_BY_STATE: dict[TapeState, Callable[[TapeNow], Instruction]] = {
    TapeState.SETTING: _setting,
    TapeState.ON: _on,
    TapeState.DUE: _due,
    TapeState.OVERDUE: _overdue,
    TapeState.OFF: _off,
}


def _helper(tape: TapeNow, *, start: bool = True) -> str:
    return tape.helper or ("Your helper" if start else "your helper")


def _clock(tape: TapeNow, at: datetime) -> str:
    return f"{at.astimezone(tape.zone):%H:%M}"
