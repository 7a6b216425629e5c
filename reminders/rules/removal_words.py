"""How this tape comes off, in the patient's words: the usual steps with this tape's own end to start at."""

from collections.abc import Collection, Iterable

from taping.rules.places import PLACES, REGIONS, removal_sentence
from taping.rules.removal import is_raw, removal_steps


def removal_lines(region: str, places: Iterable[str], signs: Collection[str] = ()) -> tuple[str, ...]:
    """Return the steps in order for a tape on `region` whose strips lie along `places`, the top strip first.

    Where the signs forbid oil and pulling the steps for raw skin are given, which name no end to pull from. A
    strip along no known place follows its region; sentences that are the same are said once.
    Raises SignError for an unknown sign.
    """
    steps = removal_steps(signs)
    if is_raw(signs):
        return tuple(step.text for step in steps)
    starts = start_lines(region, places)
    lines: list[str] = []
    for step in steps:
        lines += starts if step.key == "start" and starts else [step.text]
    return tuple(lines)


def start_lines(region: str, places: Iterable[str]) -> tuple[str, ...]:
    """Return where to start each strip, the top one first; empty where the data know neither place nor region."""
    known = [PLACES.get(place) or REGIONS.get(region) for place in places] or [REGIONS.get(region)]
    sentences = list(dict.fromkeys(removal_sentence(where) for where in known if where is not None))
    if len(sentences) < 2:
        return tuple(sentences)
    ranks = ["The strip on top", *["The next strip"] * (len(sentences) - 2), "The strip beneath"]
    return tuple(f"{rank}: {text[:1].lower()}{text[1:]}" for rank, text in zip(ranks, sentences, strict=True))
