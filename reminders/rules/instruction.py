"""What the patient's page says first: the one thing to do now.

The sentences are common practice, no source; the waits and days behind them are the clinic's numbers. Nothing here
permits exercise or calls skin fine, and where somebody else takes the tape off no sentence says to do it alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant
from clinic.rules.tongue import ENGLISH, Tongue
from reminders.rules.texts import Speech
from reminders.rules.words import day_words
from taping.rules.removal import Remover
from taping.rules.wear_state import TapeState


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeNow:
    """One tape at `now`. Times are aware and shown on the clock of `zone`; days are the clinic's.

    `visit_at` is the start of the removal visit, None without one; `helper` what the helper is called, or empty;
    `ended_on` the day it came off, None while it is on; `tongue` the language in which it is said; `own` the clinic's
    own words in it, and `values` what may be filled into any of them (own_words.common_in).
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
    own: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Instruction:
    """One sentence in large type, and what belongs to it."""

    heading: str
    lines: tuple[str, ...]


def first_key(tape: TapeNow) -> str:
    """Return the key of the sentence that stands first (texts.toml). Raises ValueError for naive times."""
    now = as_instant(tape.now, "now")
    as_instant(tape.adhesion_ends_at, "adhesion_ends_at")
    if tape.state is TapeState.ON and now < as_instant(tape.water_ends_at, "water_ends_at"):
        return _DRY
    if tape.state is TapeState.OVERDUE:
        return f"removal_overdue.page.{tape.remover.value}"
    if tape.state is TapeState.DUE:
        ahead = tape.remover is Remover.CLINIC and tape.visit_at is not None and now < tape.visit_at
        return "removal_day.page.clinic_at" if ahead else f"removal_day.page.{tape.remover.value}"
    return _FIRST[tape.state]


def instruction(tape: TapeNow) -> Instruction:
    """Return what to do now about this tape: one sentence, which may be the clinic's own, and the program's lines.

    Raises ValueError for naive times.
    """
    key = first_key(tape)
    values = {
        **tape.values,
        "move_from": _clock(tape, tape.adhesion_ends_at),
        "water_from": _clock(tape, tape.water_ends_at),
        "off_when": tape.tongue.say("today"),
        "off_at": _clock(tape, tape.visit_at) if tape.visit_at else "",
        "helper": _helper(tape),
    }
    return Instruction(Speech(tape.tongue, tape.own).say(key, 1, values), _lines(tape, key))


def _lines(tape: TapeNow, key: str) -> tuple[str, ...]:
    if key == _DRY:
        return _drying(tape)
    return {
        TapeState.SETTING: _setting,
        TapeState.ON: _on,
        TapeState.DUE: _due,
        TapeState.OVERDUE: _overdue,
        TapeState.OFF: _off,
    }[tape.state](tape)


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


def _setting(tape: TapeNow) -> tuple[str, ...]:
    say = tape.tongue.say
    return (
        say("Your tape is setting. Move the taped part as little as you can."),
        say("Easy movement from {time}, only as your therapist told you.", time=_clock(tape, tape.adhesion_ends_at)),
        say("Sweat, shower and swimming from {time}.", time=_clock(tape, tape.water_ends_at)),
        comes_off_words(tape),
    )


def _drying(tape: TapeNow) -> tuple[str, ...]:
    dry = tape.tongue.say("No sweat, shower or swimming until then. Move only as your therapist told you.")
    return (dry, comes_off_words(tape))


def _on(tape: TapeNow) -> tuple[str, ...]:
    say = tape.tongue.say
    sooner = {
        Remover.HOME: say("Earlier is always allowed: the steps are below."),
        Remover.HELPER: say("Earlier is always allowed, with your helper or with us."),
        Remover.CLINIC: say("Earlier is always allowed: call us."),
    }
    return (comes_off_words(tape), sooner[tape.remover])


def _due(tape: TapeNow) -> tuple[str, ...]:
    say = tape.tongue.say
    slowly = say("Take your time. The steps are below.")
    if tape.remover is Remover.HOME:
        return (slowly, say("Then tell us: press “It is off”."))
    if tape.remover is Remover.HELPER:
        return (say("Please do not take it off alone."), slowly, say("Then press “It is off”."))
    return (say("Please do not take it off yourself."),)


def _overdue(tape: TapeNow) -> tuple[str, ...]:
    say = tape.tongue.say
    late, off_already = say("It has been on longer than it should be."), say("Is it off already? Press “It is off”.")
    if tape.remover is Remover.HOME:
        return (late, off_already)
    if tape.remover is Remover.HELPER:
        return (late, f"{say('Please do not take it off alone.')} {off_already}")
    return (late, f"{say('Please do not take it off yourself.')} {off_already}")


def _off(tape: TapeNow) -> tuple[str, ...]:
    say = tape.tongue.say
    noted = say("We noted {day}.", day=day_words(tape.ended_on, tape.tongue)) if tape.ended_on else say("We noted it.")
    look_again = say(
        "Look at the skin again today and tomorrow: itching can still come. If it is redder, darker or purple compared "
        "with the skin around it, warmer, or sore, press “My skin is reacting”."
    )
    return (noted, look_again)


_DRY = "aftercare.page.dry"
_FIRST: Mapping[TapeState, str] = {
    TapeState.SETTING: "aftercare.page.rest",
    TapeState.ON: "aftercare.page.on",
    TapeState.OFF: "skin_follow_up.page.off",
}


def _helper(tape: TapeNow) -> str:
    return tape.helper or tape.tongue.say("your helper")


def _clock(tape: TapeNow, at: datetime) -> str:
    return f"{at.astimezone(tape.zone):%H:%M}"
