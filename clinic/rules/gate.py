"""How many wrong log-ins are looked at: so many at once, and after that one each so many seconds."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pace:
    """at_once: wrong log-ins in a row. each_s: seconds after which one more is looked at."""

    at_once: int
    each_s: float

    @property
    def longest_s(self) -> float:
        """Seconds after which all of at_once are to be had again, whatever was tried before."""
        return self.at_once * self.each_s


KNOWN_DEVICE = Pace(at_once=20, each_s=15)
"""A browser in which somebody logged in before: its guesses slow down nobody but itself."""
NETWORK = Pace(at_once=20, each_s=15)
"""All strange devices of one network: a clinic's first morning fits in, a guesser gets four tries a minute."""
ALL_STRANGERS = Pace(at_once=60, each_s=3)
"""All strange devices together: guesses from a thousand networks cost a third of one core and no more."""

HOME_FOR_S = 7 * 24 * 60 * 60
"""How long a network counts as one of the clinic's after somebody logged in from it: over a week-end and a holiday."""


def spend(used_until: float, now: float, pace: Pace) -> tuple[float, float]:
    """Take one try. used_until: what the last call returned, 0 before the first; now: seconds of the same clock.

    Returns the new used_until and 0; or used_until as it was, and for how many seconds there is none to be had.
    A clock that was set back costs at most pace.longest_s.
    """
    used_until = min(max(used_until, now), now + pace.longest_s)
    wait = used_until + pace.each_s - now - pace.longest_s
    return (used_until, wait) if wait > 0 else (used_until + pace.each_s, 0.0)


def give_back(used_until: float, pace: Pace) -> float:
    """The try was none: the password was right, or it was never looked at."""
    return used_until - pace.each_s
