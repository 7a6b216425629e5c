"""How this tape comes off, in the patient's words: the usual steps with this tape's own end to start at."""

from collections.abc import Collection, Iterable

from clinic.rules.tongue import ENGLISH, Tongue
from taping.rules.places import PLACES, REGIONS, removal_sentence
from taping.rules.removal import is_raw, removal_steps


def removal_lines(
    region: str, places: Iterable[str], signs: Collection[str] = (), tongue: Tongue = ENGLISH
) -> tuple[str, ...]:
    """Return the steps in order for a tape on `region` whose strips lie along `places`, the top strip first.

    Where the signs forbid oil and pulling the steps for raw skin are given, which name no end to pull from. A
    strip along no known place follows its region; sentences that are the same are said once.
    Raises SignError for an unknown sign.
    """
    steps = removal_steps(signs)
    if is_raw(signs):
        return tuple(tongue.say(step.text) for step in steps)
    starts = start_lines(region, places, tongue)
    lines: list[str] = []
    for step in steps:
        lines += starts if step.key == "start" and starts else [tongue.say(step.text)]
    return tuple(lines)


def start_lines(region: str, places: Iterable[str], tongue: Tongue = ENGLISH) -> tuple[str, ...]:
    """Return where to start each strip, the top one first; empty where the data know neither place nor region."""
    known = [PLACES.get(place) or REGIONS.get(region) for place in places] or [REGIONS.get(region)]
    sentences = list(dict.fromkeys(removal_sentence(where, tongue) for where in known if where is not None))
    if len(sentences) < 2:
        return tuple(sentences)
    return tuple(
        f"{rank_words(number, len(sentences), tongue)}: {text[:1].lower()}{text[1:]}"
        for number, text in enumerate(sentences)
    )


def rank_words(number: int, count: int, tongue: Tongue = ENGLISH) -> str:
    """Return what a strip is called in the order in which they come off, counted from 0; "" for the only one."""
    if count < 2:
        return ""
    if number == 0:
        return tongue.say("The strip on top")
    return tongue.say("The strip beneath") if number == count - 1 else tongue.say("The next strip")
