"""Reads the clinic of a scenario: its zone, hours, quiet hours and numbers."""

from datetime import time

from reminders.rehearsal.parts import Part, read_date, read_span, read_word
from reminders.rehearsal.scenario import USUAL_HOURS, ClinicPart
from reminders.rules.facts import MessagePolicy
from reminders.rules.kinds import MessageKind
from taping.rules.policy import BOUNDS

_KEYS = (
    "time_zone",
    "quiet_from",
    "quiet_until",
    "closed_on",
    "open",
    "adhesion_wait_minutes",
    "wear_first_day",
    "wear_last_day",
    "optional_messages",
)
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_OPTIONAL = tuple(kind.value for kind in MessageKind if kind.is_optional)
_USUAL = MessagePolicy()


def read_clinic(file: Part) -> ClinicPart:
    """The clinic's part; whatever is left out is as in a clinic that was never set up. Raises BadScenario."""
    part = file.part("clinic", _KEYS)
    quiet_from = part.clock("quiet_from", _USUAL.quiet_from)
    quiet_until = part.clock("quiet_until", _USUAL.quiet_until)
    if quiet_from == quiet_until:
        raise part.refuse("quiet_until", f"is {quiet_until:%H:%M} like quiet_from; quiet hours need an end")
    first = _number(part, "wear_first_day", "first_day")
    last = _number(part, "wear_last_day", "last_day")
    if first > last:
        key = "wear_last_day" if part.has("wear_last_day") else "wear_first_day"
        raise part.refuse(key, f"makes a wear window from day {first} to day {last}; the first comes first")
    return ClinicPart(
        time_zone=part.zone("time_zone", "America/New_York"),
        quiet_from=quiet_from,
        quiet_until=quiet_until,
        closed_on=tuple(dict.fromkeys(part.listed("closed_on", read_date))),
        hours=_hours(part),
        adhesion_wait_minutes=_number(part, "adhesion_wait_minutes", "adhesion_minutes"),
        wear_first_day=first,
        wear_last_day=last,
        optional_messages=tuple(dict.fromkeys(part.listed("optional_messages", read_word(_OPTIONAL)))),
    )


def _number(part: Part, key: str, name: str) -> int:
    bounds = BOUNDS[name]
    return part.number(key, bounds.default, bounds.least, bounds.greatest)


def _hours(part: Part) -> dict[int, tuple[time, time]]:
    if not part.has("open"):
        return dict(USUAL_HOURS)
    week = part.part("open", _DAYS)
    return {_DAYS.index(day): read_span(week.raw(day), week.at(day)) for day in week.keys}
