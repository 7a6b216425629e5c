"""One of two workers is killed in mid-drain: how long until all is healed, what came twice, and what never came.

Once with messages that keep people safe, of which one that was uncertain goes once more, and once with others, of
which none may: a person is asked about those.
"""

import signal
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reminders.bench.company import BenchError, Hand, hand
from reminders.bench.sinks import Arrived

KINDS: Mapping[str, str] = {"safety": "removal_day", "other": "removal_eve"}
BEGIN_SECONDS = 60


@dataclass(frozen=True, slots=True)
class Healed:
    """after_s: from the kill to the last message that had not come. lost: neither came nor are with a person."""

    after_s: float
    lost: int
    doubled: int
    with_a_person: int

    @classmethod
    def of(cls, arrived: Arrived, killed_at: float, keys: set[str], uncertain: set[str]) -> "Healed":
        """keys: of all messages; uncertain: of those that wait for a person's word."""
        judged = arrived.judged(keys - uncertain, set())
        return cls(round(arrived.firsts[-1] - killed_at, 2), judged["lost"], judged["doubled"], len(uncertain))


def figures_of(healed: Mapping[str, Healed]) -> dict[str, Any]:
    """As they stand in the measurement's object; killed_doubled_other is a fault where it is not 0."""
    return {
        "healed_after_s": max(one.after_s for one in healed.values()),
        "killed_lost": sum(one.lost for one in healed.values()),
        "killed_doubled": sum(one.doubled for one in healed.values()),
        "killed_doubled_safety": healed["safety"].doubled,
        "killed_doubled_other": healed["other"].doubled,
        "killed_with_a_person": sum(one.with_a_person for one in healed.values()),
    }


def kill(clerk: Hand, address: str, folder: Path, count: int) -> dict[str, Any]:
    """Measure both kinds, one after the other."""
    return figures_of({name: _kill(clerk, address, folder / name, kind, count) for name, kind in KINDS.items()})


def _kill(clerk: Hand, address: str, folder: Path, kind: str, count: int) -> Healed:
    folder.mkdir()
    due, keys = float(int(time.time())) + 3600, folder / "keys"
    records = [folder / "victim", folder / "other"]
    clerk.ask("fill", count=count, due=due, keys=str(keys), kind=kind)
    with hand(address, folder) as victim, hand(address, folder) as other:
        start = time.time() + 1
        for one, record in zip((victim, other), records, strict=True):
            one.begin("drain", due=due, start=start, record=str(record))
        while len(Arrived.read(records[0]).firsts) < count // 10:
            if victim.process.poll() is not None or time.time() > start + BEGIN_SECONDS:
                raise BenchError("the worker to be killed did not get to work")
            time.sleep(0.005)
        victim.process.send_signal(signal.SIGKILL)
        killed_at = time.time()
        other.answer()
    uncertain = clerk.ask("keys_in", state="uncertain")["keys"]
    return Healed.of(Arrived.read(*records), killed_at, set(keys.read_text().split()), set(uncertain))
