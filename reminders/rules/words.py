"""Places, days and lists as patients read them: no abbreviation, weekday and date written out."""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from datetime import date

from clinic.rules.tongue import ENGLISH, Tongue
from taping.rules.places import REGIONS, Side, UnknownRegionError, UnknownSideError, region_words

WITHOUT_SIDE = "midline"

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def day_words(day: date, tongue: Tongue = ENGLISH) -> str:
    """ "Saturday, 16 January"."""
    weekday, month = tongue.say(WEEKDAYS[day.weekday()]), tongue.say(MONTHS[day.month - 1])
    return tongue.say("{weekday}, {day} {month}", weekday=weekday, day=day.day, month=month)


def year_day_words(day: date, tongue: Tongue = ENGLISH) -> str:
    """ "16 January 2027"."""
    month = tongue.say(MONTHS[day.month - 1])
    return tongue.say("{day} {month} {year}", day=day.day, month=month, year=day.year)


def near_day_words(day: date, today: date, tongue: Tongue = ENGLISH) -> str:
    """ "today", "tomorrow", else "on Saturday, 16 January"."""
    near = {0: tongue.say("today"), 1: tongue.say("tomorrow")}.get((day - today).days)
    return near or tongue.say("on {day}", day=day_words(day, tongue))


def place_words(region: str, side: str, tongue: Tongue = ENGLISH) -> str:
    """ "left knee", "front of the left thigh": as it is said, also where the data no longer know the place."""
    return tongue.say(_place(region, side, side))


def every_place() -> tuple[str, ...]:
    """Return every way in which place_words and places_together name a region, in English."""
    found = [_place(region.key, side, side) for region in REGIONS.values() for side in region.sides]
    pairs = [region.key for region in REGIONS.values() if {Side.LEFT, Side.RIGHT} <= set(region.sides)]
    return (*found, *(_place(region, "left", "left and right") for region in pairs))


def places_together(places: Iterable[tuple[str, str]], tongue: Tongue = ENGLISH) -> str:
    """Several (region, side) in one breath: "left and right knee", "left elbow and lower back"."""
    sides: dict[str, list[str]] = {}
    for region, side in places:
        kept = sides.setdefault(region, [])
        if side not in kept:
            kept.append(side)
    said = []
    for region, kept in sides.items():
        # Always the left side first: "left and right knee" is one sentence of the catalogue.
        paired = sorted(side for side in kept if side != WITHOUT_SIDE)
        said += [tongue.say(_place(region, side, side)) for side in kept if side == WITHOUT_SIDE]
        said += [tongue.say(_place(region, paired[0], all_of(paired)))] if paired else []
    return tongue.all_of(said)


def _place(region: str, side: str, sides: str) -> str:
    """A region with one of its sides, in the words for one or several."""
    try:
        one = region_words(region, side)
    except (UnknownRegionError, UnknownSideError):
        label = region.replace("_", " ")
        return label if side == WITHOUT_SIDE else f"{sides} {label}"
    return one if side == sides else one.replace(side, sides, 1)


def all_of(words: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return ENGLISH.all_of(words)


def shortened(text: str, most: int) -> str:
    """text, cut after a whole word where it has more than most characters."""
    text = " ".join(text.split())
    if len(text) <= most:
        return text
    return text[: most + 1].rsplit(" ", 1)[0][:most].rstrip(",;:-& ")


_NUMBER = re.compile(r"[+(]?\d[\d ().\u00a0/-]{3,}\d|(?<=[Cc]all )\d{3,4}\b")
_HOURS = re.compile(r"\d{1,2}[.]\d\d ?- ?\d{1,2}[.]\d\d|\d{4}-\d\d-\d\d")
_FEWEST_DIGITS = 5


def numbers_in(text: str) -> tuple[tuple[str, str], ...]:
    """Return a text in pieces, each with what to dial where it is a telephone number, else with "".

    Five digits or more, or three or four after "call", are taken for a number; hours ("8.00-18.00") and dates are not.
    """
    pieces: list[tuple[str, str]] = []
    at = 0
    for found in _NUMBER.finditer(text):
        dial = re.sub(r"[^\d+]", "", found.group())
        after_call = text[: found.start()].lower().endswith("call ")
        if _HOURS.fullmatch(found.group()) or (len(dial.lstrip("+")) < _FEWEST_DIGITS and not after_call):
            continue
        pieces += [(text[at : found.start()], ""), (found.group(), dial)]
        at = found.end()
    return tuple(piece for piece in [*pieces, (text[at:], "")] if piece[0])


def direction_of(text: str) -> str:
    """Return "rtl" where the first letter that has a direction is written from right to left, else "ltr".

    Unicode Annex 9, rules P2 and P3: what HTML calls dir="auto", for papers whose maker does not know it.
    """
    for letter in text:
        kind = unicodedata.bidirectional(letter)
        if kind in {"L", "R", "AL"}:
            return "ltr" if kind == "L" else "rtl"
    return "ltr"
