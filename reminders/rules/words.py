"""Places, days and lists as patients read them: no abbreviation, weekday and date written out."""

from collections.abc import Iterable, Sequence
from datetime import date

from taping.rules.places import UnknownRegionError, UnknownSideError, region_words

WITHOUT_SIDE = "midline"


def day_words(day: date) -> str:
    """ "Saturday, 16 January"."""
    return f"{day:%A}, {day.day} {day:%B}"


def near_day_words(day: date, today: date) -> str:
    """ "today", "tomorrow", else "on Saturday, 16 January"."""
    near = {0: "today", 1: "tomorrow"}.get((day - today).days)
    return near or f"on {day_words(day)}"


def place_words(region: str, side: str) -> str:
    """ "left knee", "front of the left thigh": as it is said, also where the data no longer know the place."""
    return _place(region, side, side)


def places_together(places: Iterable[tuple[str, str]]) -> str:
    """Several (region, side) in one breath: "left and right knee", "left elbow and lower back"."""
    sides: dict[str, list[str]] = {}
    for region, side in places:
        kept = sides.setdefault(region, [])
        if side not in kept:
            kept.append(side)
    said = []
    for region, kept in sides.items():
        paired = [side for side in kept if side != WITHOUT_SIDE]
        said += [_place(region, side, side) for side in kept if side == WITHOUT_SIDE]
        said += [_place(region, paired[0], all_of(paired))] if paired else []
    return all_of(said)


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
    return " and ".join([*([", ".join(words[:-1])] if len(words) > 1 else []), *words[-1:]])


def shortened(text: str, most: int) -> str:
    """text, cut after a whole word where it has more than most characters."""
    text = " ".join(text.split())
    if len(text) <= most:
        return text
    return text[: most + 1].rsplit(" ", 1)[0][:most].rstrip(",;:-& ")
