"""The gate before the log-in: which tries have their password looked at. It keeps numbers in memory and asks nobody.

A hash of a password takes a third of a second of a core on purpose. Without a gate ten thousand guesses a minute would
take fifty cores. So a try is counted before anything is made of it; a right password is taken off the count again.
Devices that are known have counts and a share of the work of their own: what strangers do never keeps them out. So
have new ones in a network from which somebody logged in lately: what strangers do elsewhere does not keep them out.
Each process counts for itself. Wrong passwords of one name are counted apart from this, in the database, by axes.
"""

import logging
from collections import Counter, OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from threading import Event, Lock

from clinic.rules.gate import ALL_STRANGERS, HOME_FOR_S, KNOWN_DEVICE, NETWORK, Pace, give_back, spend

log = logging.getLogger(__name__)
MOST_KEYS = 5_000
"""Networks and devices remembered at once, some 100 bytes each; the one that tried longest ago is forgotten first."""
TELL_EVERY_S = 60.0
EACH_NETWORK = 2
"""Tries of one network that may be under way at once, waiting included: one guesser never fills all places."""


class Reason(StrEnum):
    """Whose tries were too many; or all hands are full just now."""

    DEVICE = "device"
    NETWORK = "network"
    STRANGERS = "strangers"
    BUSY = "busy"


@dataclass(frozen=True, slots=True)
class Refused:
    """The try is not looked at. wait_s: from when on one may be, in seconds."""

    reason: Reason
    wait_s: float


@dataclass(frozen=True, slots=True)
class Tried:
    """The try may be looked at. leave() must follow, forgive() where the password was right."""

    leave: Callable[[], None]
    forgive: Callable[[], None]


class Tally:
    """Tries by key, of at most `most` keys."""

    def __init__(self, most: int = MOST_KEYS) -> None:
        self._most = most
        self._used: OrderedDict[tuple[Reason, str], float] = OrderedDict()
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._used)

    def spend(self, keys: list[tuple[Reason, str, Pace]], now: float) -> Refused | None:
        """Take one try of each key, or of none where one of them has none left."""
        with self._lock:
            taken: list[tuple[tuple[Reason, str], float]] = []
            for reason, key, pace in keys:
                used, wait = spend(self._used.get((reason, key), 0.0), now, pace)
                if wait > 0:
                    return Refused(reason, wait)
                taken.append(((reason, key), used))
            for name, used in taken:
                self._used[name] = used
                self._used.move_to_end(name)
            while len(self._used) > self._most:
                self._used.popitem(last=False)
            return None

    def give_back(self, keys: list[tuple[Reason, str, Pace]]) -> None:
        with self._lock:
            for reason, key, pace in keys:
                if (reason, key) in self._used:
                    self._used[reason, key] = give_back(self._used[reason, key], pace)


@dataclass(eq=False, slots=True)
class _Turn:
    """Somebody who waits; came is set when it is their turn."""

    key: str
    came: Event = field(default_factory=Event)


class Share:
    """So many tries are looked at at once, so many more wait for a moment, and the rest is refused.

    Who waits holds one of the server's threads; `waiting` leaves some of them to everybody who is logged in.
    each: how many of the places one key may hold. Whose turn it is: the first who waits of another key than the one
    that just left, so that a guesser's next try never goes before somebody who waits for the first time.
    """

    def __init__(self, *, at_once: int, waiting: int, each: int, patience_s: float) -> None:
        self._free = at_once
        self.places, self._each, self._patience_s = at_once + waiting, each, patience_s
        self._held: Counter[str] = Counter()
        self._queue: list[_Turn] = []
        self._lock = Lock()

    def enter(self, key: str) -> bool:
        with self._lock:
            if self._held.total() >= self.places or self._held[key] >= self._each:
                return False
            self._held[key] += 1
            if self._free:
                self._free -= 1
                return True
            turn = _Turn(key)
            self._queue.append(turn)
        if turn.came.wait(self._patience_s):
            return True
        with self._lock:
            # It may have come between the two.
            if turn.came.is_set():
                return True
            self._queue.remove(turn)
            self._give_up(key)
        return False

    def leave(self, key: str) -> None:
        with self._lock:
            self._give_up(key)
            if not self._queue:
                self._free += 1
                return
            turn = next((one for one in self._queue if one.key != key), self._queue[0])
            self._queue.remove(turn)
            turn.came.set()

    def _give_up(self, key: str) -> None:
        self._held[key] -= 1
        self._held += Counter()  # forgets whoever holds no place


class Gate:
    """One for each process."""

    def __init__(self, most_keys: int = MOST_KEYS) -> None:
        self._most_keys = most_keys
        self.forget()

    @property
    def places(self) -> int:
        """How many of the server's threads may be held at one time by tries to log in."""
        return sum(share.places for share in (self._known, self._strange, self._at_home))

    def forget(self) -> None:
        """Begin anew, as after a start of the program."""
        self.tally = Tally(self._most_keys)
        self._known = Share(at_once=2, waiting=2, each=4, patience_s=10)
        self._strange = Share(at_once=1, waiting=2, each=EACH_NETWORK, patience_s=5)
        self._at_home = Share(at_once=1, waiting=2, each=EACH_NETWORK, patience_s=5)
        self._homes: OrderedDict[str, float] = OrderedDict()
        self._lock = Lock()
        self._refused, self._told_at = 0, 0.0

    def logged_in(self, network: str, now: float) -> None:
        """Somebody has logged in from there, with all that log-in asks: for a week it is one of the clinic's networks.

        A new browser in it is counted with its network alone, and no crowd of strangers elsewhere keeps it out.
        """
        with self._lock:
            self._homes[network] = now
            self._homes.move_to_end(network)
            while len(self._homes) > self._most_keys:
                self._homes.popitem(last=False)

    def _is_home(self, network: str, now: float) -> bool:
        with self._lock:
            return now - self._homes.get(network, -HOME_FOR_S) < HOME_FOR_S

    def enter(self, *, device: str | None, network: str, now: float) -> Tried | Refused:
        """device: what is told by the cookie of one that is known. now: seconds since 1970.

        The count is taken up front, so that a thousand guesses at one moment are not looked at together.
        """
        if device is not None:
            keys, share, key = [(Reason.DEVICE, device, KNOWN_DEVICE)], self._known, device
        elif self._is_home(network, now):
            keys, share, key = [(Reason.NETWORK, network, NETWORK)], self._at_home, network
        else:
            keys = [(Reason.NETWORK, network, NETWORK), (Reason.STRANGERS, "", ALL_STRANGERS)]
            share, key = self._strange, network
        refused = self.tally.spend(keys, now)
        if refused is None and not share.enter(key):
            self.tally.give_back(keys)
            refused = Refused(Reason.BUSY, 1.0)
        if refused is not None:
            self._tell(now)
            return refused
        return Tried(leave=lambda: share.leave(key), forgive=lambda: self.tally.give_back(keys))

    def _tell(self, now: float) -> None:
        """A line a minute and not one a guess: the log is no place for ten thousand of them."""
        self._refused += 1
        if not 0 <= now - self._told_at < TELL_EVERY_S:
            log.warning("Log-in: tries refused unread, too many before them were wrong: %d", self._refused)
            self._refused, self._told_at = 0, now


GATE = Gate()
