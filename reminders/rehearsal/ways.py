"""Ways out that only write down: nothing leaves the rehearsal, and faults can be ordered."""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from clinic.models.people import Channel
from reminders.transports import Outgoing, Transport, TransportError


class Crash(BaseException):
    """The process died just after handing a message over; no handler of the engine may catch it."""


@dataclass(frozen=True, slots=True)
class Handed:
    """One message as it was handed over, whatever came of it afterwards."""

    channel: str
    outgoing: Outgoing


class Ways:
    """Both channels, and everything that was handed over on either, in order. dead: a crash is under way."""

    def __init__(self) -> None:
        self.handed: list[Handed] = []
        self.dead = False
        self._faults: dict[str, deque[int | str]] = {channel.value: deque() for channel in Channel}
        self.transports: Mapping[str, Transport] = {
            channel: RecordingTransport(channel, self) for channel in self._faults
        }

    def order(self, *, channel: str, reply: int | str, times: int) -> None:
        """The next `times` attempts on channel meet reply: a code (RFC 5321, 4.2), "timeout" or "crash"."""
        self._faults[channel].extend([reply] * times)

    def take(self, channel: str, outgoing: Outgoing) -> None:
        """What an attempt on channel meets. Raises TransportError or Crash where a fault was ordered."""
        faults = self._faults[channel]
        fault = faults.popleft() if faults else None
        if isinstance(fault, int):
            raise TransportError("refused, as the scenario says", protocol="smtp", code=fault)
        self.handed.append(Handed(channel, outgoing))
        if fault == "crash":
            self.dead = True
            raise Crash
        if fault == "timeout":
            raise TransportError("no answer, as the scenario says", protocol="smtp", handed_over=True)


class RecordingTransport(Transport):
    """Takes everything, except where a fault was ordered for the next attempts."""

    def __init__(self, channel: str, ways: Ways) -> None:
        self._channel = channel
        self._ways = ways

    def send(self, outgoing: Outgoing) -> str:
        self._ways.take(self._channel, outgoing)
        return ""
