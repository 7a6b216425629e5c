"""How soon a person has to be seen."""

from enum import StrEnum


class Urgency(StrEnum):
    """How soon somebody has to see the patient, from not at all to at once."""

    NONE = "none"
    WATCH = "watch"
    SOON = "soon"
    TODAY = "today"
    EMERGENCY = "emergency"

    @property
    def rank(self) -> int:
        """The place in the order: 0 for none, 4 for an emergency."""
        return _RANKS[self]


_RANKS = {level: place for place, level in enumerate(Urgency)}


def most_urgent(*levels: Urgency) -> Urgency:
    """Return the most urgent of ``levels``, or none when there are none."""
    return max(levels, key=_RANKS.__getitem__, default=Urgency.NONE)
