"""A channel that answers slowly gets at most half of the engine's time, so that it cannot hold up the other one.

At nine o'clock thousands of messages are due on both. A gateway that lets each wait for its time-out would otherwise
keep every mail behind it waiting as well.
"""

from time import monotonic

SLOW_SECONDS = 2.0
"""An attempt that takes longer makes its channel rest for as long again."""

LONGEST_REST = 30.0


class Pace:
    """How long each channel still rests, in seconds that have passed, whatever is done to the clock meanwhile."""

    def __init__(self) -> None:
        self._until: dict[str, float] = {}

    def begun(self) -> float:
        """The moment an attempt begins, to be handed to took."""
        return monotonic()

    def took(self, channel: str, begun: float) -> None:
        """Note that an attempt on channel, begun then, has ended."""
        now = monotonic()
        if now - begun > SLOW_SECONDS:
            self._until[channel] = now + min(now - begun, LONGEST_REST)

    def rest(self, channel: str) -> float:
        """Seconds that channel still rests; 0 where it does not."""
        until = self._until.get(channel)
        return max(0.0, until - monotonic()) if until is not None else 0.0
