"""Reads the events of a scenario: each kind has keys of its own."""

from collections.abc import Callable, Mapping
from zoneinfo import ZoneInfo

from reminders.rehearsal.parts import BadScenario, Part, read_word
from reminders.rehearsal.reading_people import CHANNELS, REMOVALS, SIDES, VISIT_KEYS, visit_of
from reminders.rehearsal.scenario import (
    AskedToCall,
    Booked,
    Cancelled,
    Edited,
    Ended,
    EventPart,
    Fault,
    Moved,
    Outage,
    Reported,
    Texted,
)
from taping.rules.places import REGIONS
from taping.rules.report_signs import SIGN_BY_KEY

MOST_TEXT = 2000
MOST_TIMES = 10_000
REPLIES = (451, 550, "timeout", "crash")
_EDITABLE = ("region", "side", "applied_at", "removal", "caution")


def read_event(value: object, path: str, zone: ZoneInfo) -> EventPart:
    """One event; zone: the clinic's, for times without an offset. Raises BadScenario."""
    given = tuple(value) if isinstance(value, dict) else ()
    what = Part(value, path, given).choice("what", tuple(_READERS))
    keys, read = _READERS[what]
    return read(Part(value, path, ("at", "what", *keys)), path, zone)


def _ended(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    how = "off" if part.text("what") == "off" else "came_off"
    return Ended(part.moment("at", zone), path, application=part.text("application"), how=how)


def _reported(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    signs = dict.fromkeys(part.listed("signs", read_word(tuple(SIGN_BY_KEY))))
    return Reported(part.moment("at", zone), path, application=part.text("application"), signs=tuple(signs))


def _asked(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    return AskedToCall(part.moment("at", zone), path, application=part.text("application"))


def _texted(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    text = part.text("text", "", most=MOST_TEXT)
    return Texted(part.moment("at", zone), path, patient=part.text("patient"), text=text)


def _booked(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    return Booked(part.moment("at", zone), path, visit=visit_of(part, zone))


def _moved(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    at = part.moment("at", zone)
    return Moved(at, path, visit=part.text("visit"), starts_at=part.moment("starts_at", zone))


def _cancelled(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    return Cancelled(part.moment("at", zone), path, visit=part.text("visit"))


def _outage(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    at, until = part.moment("at", zone), part.moment("until", zone)
    if until <= at:
        raise part.refuse("until", "is not after the outage begins")
    return Outage(at, path, until=until)


def _fault(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    reply = part.raw("reply") if part.has("reply") else REPLIES[0]
    if isinstance(reply, bool | float) or not isinstance(reply, int | str) or reply not in REPLIES:
        raise part.refuse("reply", f"must be one of {', '.join(str(one) for one in REPLIES)}")
    return Fault(
        part.moment("at", zone),
        path,
        channel=part.choice("channel", CHANNELS, "sms"),
        reply=reply,
        times=part.number("times", 1, 1, MOST_TIMES),
    )


def _edited(part: Part, path: str, zone: ZoneInfo) -> EventPart:
    readers: Mapping[str, Callable[[], object]] = {
        "region": lambda: part.choice("region", tuple(REGIONS)),
        "side": lambda: part.choice("side", SIDES),
        "applied_at": lambda: part.moment("applied_at", zone),
        "removal": lambda: part.choice("removal", REMOVALS),
        "caution": lambda: part.truth("caution", False),
    }
    values = {name: read() for name, read in readers.items() if part.has(name)}
    if not values:
        raise BadScenario(path, f"names nothing to change; there are {', '.join(_EDITABLE)}")
    return Edited(part.moment("at", zone), path, application=part.text("application"), values=values)


_Reader = Callable[[Part, str, ZoneInfo], EventPart]
_READERS: Mapping[str, tuple[tuple[str, ...], _Reader]] = {
    "off": (("application",), _ended),
    "came_off": (("application",), _ended),
    "skin_report": (("application", "signs"), _reported),
    "call_back": (("application",), _asked),
    "sms": (("patient", "text"), _texted),
    "book": (VISIT_KEYS, _booked),
    "move": (("visit", "starts_at"), _moved),
    "cancel": (("visit",), _cancelled),
    "outage": (("until",), _outage),
    "fault": (("channel", "reply", "times"), _fault),
    "edit": (("application", *_EDITABLE), _edited),
}
