"""How a tape comes off, drawn: its strips from the top one down, and the steps that no picture says."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from clinic.rules.tongue import ENGLISH, Tongue
from reminders.rules.removal_words import rank_words
from reminders.selectors.link import strips_top_first
from taping.models import Application
from taping.rules.pictures import drawn_as, region_at, removal_pictures, where_of
from taping.rules.places import REGIONS, Place, Region, Side
from taping.rules.removal import USUAL_STEPS
from taping.rules.steps import Step

Where = Region | Place
Address = Callable[[Where, Side, int], str]
"""The address of a picture: of a region or place, a side, and the picture's number."""

DRAWN = frozenset({"start", "low_and_slow", "hold_skin"})
"""Steps that the pictures say."""

AFTERWARDS = frozenset({"stop_if_hurt", "look_again"})

SHORTER = (1, 2)
"""Pictures of the strips beneath: the hand is held as on the top one."""

_ALL = (1, 2, 3)


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: its number, its address, its words, and what is told of it."""

    number: int
    address: str
    text: str
    told: str


@dataclass(frozen=True, slots=True)
class DrawnStrip:
    """Strips that lie alike; rank is empty where there is nothing beneath or above them."""

    rank: str
    pictures: tuple[Picture, ...]


def wheres_of(tape: Application, places: Sequence[str] | None = None) -> list[Where]:
    """What the strips lie along, the top one first, each once; the region for a strip along no known place.

    places: theirs, the top one first, where they have been read already.
    """
    region = REGIONS.get(tape.region)
    on = [strip.place for strip in strips_top_first(tape)] if places is None else places
    found = [where_of(place) or region for place in on] or [region]
    known = [where for where in found if where is not None and tape.side in region_at(where).sides]
    drawn = (drawn_as(where, Side(tape.side)) for where in known)
    return list({where.key: where for where in drawn}.values())


def strips_drawn(wheres: Sequence[Where], side: Side, address: Address, tongue: Tongue = ENGLISH) -> list[DrawnStrip]:
    """The pictures of each strip, the top one first and whole."""
    return [
        DrawnStrip(
            rank_words(number, len(wheres), tongue),
            pictures_of(where, side, address, SHORTER if number else _ALL, tongue),
        )
        for number, where in enumerate(wheres)
    ]


def pictures_of(
    where: Where, side: Side, address: Address, numbers: Iterable[int] = _ALL, tongue: Tongue = ENGLISH
) -> tuple[Picture, ...]:
    """Those pictures of one strip, with their words."""
    told = removal_pictures(where, side, tongue)
    return tuple(
        Picture(number, address(where, side, number), told[number - 1].text, told[number - 1].told)
        for number in numbers
    )


def steps_before(wheres: Sequence[Where], tongue: Tongue = ENGLISH) -> list[str]:
    """What is to be done before the first picture; which strip is on top matters only where they lie differently."""
    left_out = DRAWN | AFTERWARDS | (frozenset() if len(wheres) > 1 else frozenset({"top_first"}))
    return texts((step for step in USUAL_STEPS if step.key not in left_out), tongue)


def steps_afterwards(tongue: Tongue = ENGLISH) -> list[str]:
    return texts((step for step in USUAL_STEPS if step.key in AFTERWARDS), tongue)


def texts(steps: Iterable[Step], tongue: Tongue = ENGLISH) -> list[str]:
    return [tongue.say(step.text) for step in steps]
