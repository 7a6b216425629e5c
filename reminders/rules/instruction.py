"""What the patient's page says first: the one thing to do now.

The sentences are common practice, no source; the waits and days behind them are the clinic's numbers. Nothing here
permits exercise or calls skin fine, and where somebody else takes the tape off no sentence says to do it alone.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant
from clinic.rules.tongue import ENGLISH, Tongue
from reminders.rules.words import day_words
from taping.rules.removal import Remover
from taping.rules.wear_state import TapeState


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeNow:
    """One tape at `now`. Times are aware and shown on the clock of `zone`; days are the clinic's.

    `visit_at` is the start of the removal visit, None without one; `helper` what the helper is called, or empty;
    `ended_on` the day it came off, None while it is on; `tongue` the language in which it is said.
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
    tongue: Tongue = ENGLISH


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
    say, day = tape.tongue.say, day_words(tape.removal_day, tape.tongue)
    if tape.remover is Remover.HOME:
        return say("It comes off on {day}. You take it off at home.", day=day)
    if tape.remover is Remover.HELPER:
        return say(
            "It comes off on {day}. {Helper} takes it off. Please do not take it off alone.",
            day=day,
            helper=_helper(tape),
        )
    if tape.visit_at is None:
        return say(
            "It comes off on {day} at the clinic. Please call us for a time. Please do not take it off yourself.",
            day=day,
        )
    return say(
        "It comes off on {day}. We take it off at {time}. Please do not take it off yourself.",
        day=day,
        time=_clock(tape, tape.visit_at),
    )


def _setting(tape: TapeNow) -> Instruction:
    say, moved = tape.tongue.say, _clock(tape, tape.adhesion_ends_at)
    return Instruction(
        say("Rest until {time}.", time=moved),
        (
            say("Your tape is setting. Move the taped part as little as you can."),
            say("Easy movement from {time}, only as your therapist told you.", time=moved),
            say("Sweat, shower and swimming from {time}.", time=_clock(tape, tape.water_ends_at)),
            comes_off_words(tape),
        ),
    )


def _drying(tape: TapeNow) -> Instruction:
    say = tape.tongue.say
    dry = say("No sweat, shower or swimming until then. Move only as your therapist told you.")
    heading = say("Keep the tape dry until {time}.", time=_clock(tape, tape.water_ends_at))
    return Instruction(heading, (dry, comes_off_words(tape)))


def _on(tape: TapeNow) -> Instruction:
    say = tape.tongue.say
    sooner = {
        Remover.HOME: say("Earlier is always allowed: the steps are below."),
        Remover.HELPER: say("Earlier is always allowed, with your helper or with us."),
        Remover.CLINIC: say("Earlier is always allowed: call us."),
    }
    return Instruction(say("Leave the tape on."), (comes_off_words(tape), sooner[tape.remover]))


def _due(tape: TapeNow) -> Instruction:
    say = tape.tongue.say
    slowly, alone = say("Take your time. The steps are below."), say("Please do not take it off yourself.")
    if tape.remover is Remover.HOME:
        return Instruction(say("Take the tape off today."), (slowly, say("Then tell us: press “It is off”.")))
    if tape.remover is Remover.HELPER:
        heading = say("{Helper} takes the tape off today.", helper=_helper(tape))
        lines = (say("Please do not take it off alone."), slowly, say("Then press “It is off”."))
        return Instruction(heading, lines)
    if tape.visit_at is not None and tape.now < tape.visit_at:
        return Instruction(say("We take the tape off today at {time}.", time=_clock(tape, tape.visit_at)), (alone,))
    return Instruction(say("The tape comes off today. Please call us for a time."), (alone,))


def _overdue(tape: TapeNow) -> Instruction:
    say = tape.tongue.say
    late, off_already = say("It has been on longer than it should be."), say("Is it off already? Press “It is off”.")
    if tape.remover is Remover.HOME:
        return Instruction(say("Take the tape off now, slowly."), (late, off_already))
    if tape.remover is Remover.HELPER:
        heading = say("Ask {helper} to take the tape off today, or call us.", helper=_helper(tape))
        return Instruction(heading, (late, f"{say('Please do not take it off alone.')} {off_already}"))
    lines = (late, f"{say('Please do not take it off yourself.')} {off_already}")
    return Instruction(say("Please call us today: the tape has to come off."), lines)


def _off(tape: TapeNow) -> Instruction:
    say = tape.tongue.say
    noted = say("We noted {day}.", day=day_words(tape.ended_on, tape.tongue)) if tape.ended_on else say("We noted it.")
    look_again = say(
        "Look at the skin again today and tomorrow: itching can still come. If it is redder, darker or purple compared "
        "with the skin around it, warmer, or sore, press “My skin is reacting”."
    )
    return Instruction(say("The tape is off. Thank you."), (noted, look_again))


_BY_STATE: dict[TapeState, Callable[[TapeNow], Instruction]] = {
    TapeState.SETTING: _setting,
    TapeState.ON: _on,
    TapeState.DUE: _due,
    TapeState.OVERDUE: _overdue,
    TapeState.OFF: _off,
}


def _helper(tape: TapeNow) -> str:
    return tape.helper or tape.tongue.say("your helper")


def _clock(tape: TapeNow, at: datetime) -> str:
    return f"{at.astimezone(tape.zone):%H:%M}"
