"""Workers that are killed by SIGKILL, at each of their steps and at any moment.

Whatever comes, no message is lost. None arrives twice but a safety message of which nobody could know whether it had
gone: once more, with the same key.
"""

import random
import time
from typing import Any

import pytest

from tests.faults.conftest import LEASE_SECONDS, Rows, Worker
from tests.faults.servers import Arrivals

KILLS = 200
MESSAGES_A_KILL = 5
SHORT_LEASE = 1.0
BATCH = 8
LONGEST_START = 2.0
"""Seconds; a worker that finds nothing free to claim is killed while it waits."""

SAFETY: dict[str, Any] = {"safety": True, "channel": "sms"}
OTHER: dict[str, Any] = {"safety": False, "channel": "sms"}


class TestAtEachStep:
    """One message a test; the place where the worker dies decides what can be known afterwards."""

    @pytest.mark.parametrize("channel", ["sms", "email"])
    @pytest.mark.parametrize("safety", [True, False])
    @pytest.mark.parametrize(
        ("place", "left", "arrived_before"),
        [
            ("claimed", "claimed", 0),
            ("taking", "claimed", 0),
            ("taken", "sending", 0),
            ("handing", "sending", 0),
            ("handed", "sending", 1),
            ("marking", "sending", 1),
            ("marked", "sent", 1),
            ("ending", "sent", 1),
        ],
    )
    def test_a_dead_worker_s_message_is_healed_when_its_lease_is_over(
        self, worker: Worker, arrivals: Arrivals, place: str, left: str, arrived_before: int, safety: bool, channel: str
    ) -> None:
        worker.make({"safety": safety, "channel": channel})
        worker.killed_at(place)
        row = worker.rows().rows[0]
        assert (row["state"], arrivals.all[row["key"]]) == (left, arrived_before)
        assert_healed(worker, arrivals, unknown=left == "sending")

    def test_the_message_before_is_marked_together_with_the_next_one(self, worker: Worker, arrivals: Arrivals) -> None:
        """Killed between the two: the first is as unknown as the gateway's answer to it, the second untouched."""
        worker.make(SAFETY, SAFETY)
        worker.killed_at("marking")
        assert [row["state"] for row in worker.rows().rows] == ["sending", "claimed"]
        worker.order("pass", seconds=LEASE_SECONDS + 1)
        assert [(row["state"], arrivals.all[row["key"]]) for row in worker.rows().rows] == [("sent", 2), ("sent", 1)]

    def test_two_tapes_said_as_one_stay_one(self, worker: Worker, arrivals: Arrivals) -> None:
        worker.make(SAFETY | {"both": True})
        worker.killed_at("handed")
        worker.order("pass", seconds=LEASE_SECONDS + 1)
        assert worker.rows().states == {"sent": 2}
        assert list(arrivals.all.values()) == [2]


def assert_healed(worker: Worker, arrivals: Arrivals, *, unknown: bool) -> None:
    """Nothing moves while the dead worker's lease runs; a second after it, all that can be settled is settled."""
    before = worker.rows()
    row = before.rows[0]
    assert row["lease_until"] is not None or row["state"] == "sent"
    worker.order("pass", seconds=LEASE_SECONDS / 2)
    assert worker.rows().rows == before.rows
    arrived = arrivals.all[row["key"]]
    worker.order("pass", seconds=LEASE_SECONDS + 1)
    after = worker.rows()
    healed = after.rows[0]
    if unknown and not row["safety"]:
        assert (healed["state"], arrivals.all[row["key"]]) == ("uncertain", arrived)
        assert after.calls == [f"uncertain:{row['subject']}"]
    else:
        again = unknown or row["state"] == "claimed"
        assert (healed["state"], arrivals.all[row["key"]], after.calls) == ("sent", arrived + again, [])
        assert healed["repeats"] == int(unknown)


def assert_nothing_lost_and_nothing_twice(found: Rows, arrivals: Arrivals) -> None:
    """What must hold when every message has come to its end, whatever happened on the way."""
    came, keys = arrivals.all, {row["id"]: row["key"] for row in found.rows}
    assert set(came) <= set(keys.values())
    for row in found.rows:
        arrived = came[row["key"]]
        assert row["state"] in ("sent", "failed", "uncertain"), row
        assert arrived <= (2 if row["safety"] else 1), row
        if arrived == 2:
            assert row["repeats"] == 1, row
        if row["state"] == "sent":
            assert came[keys[row["joined_to_id"]]] if row["joined_to_id"] else arrived, row
        elif not row["joined_to_id"]:
            assert f"{'uncertain' if row['state'] == 'uncertain' else 'undelivered'}:{row['subject']}" in found.calls


def kill_at_random(worker: Worker, kills: int, seed: int) -> None:
    """So many workers, each killed at a moment of chance: most while a batch is under way, some before that."""
    chance = random.Random(seed)
    for number in range(kills):
        pid = worker.start()
        if number % 5:
            worker.order("begun", patience=LONGEST_START)
        time.sleep(chance.uniform(0, 0.15))  # the moment itself is what is tried
        worker.kill(pid)


def messages(number: int, seed: int) -> list[dict[str, Any]]:
    chance = random.Random(seed)
    return [
        {"safety": chance.random() < 0.6, "channel": chance.choice(["sms", "email"]), "both": chance.random() < 0.1}
        for _ in range(number)
    ]


def drain(worker: Worker) -> Rows:
    """Passes of the engine until no machine can settle anything more; each a minute or two after the one before."""
    for number in range(1, 30):
        drained = worker.order("pass", seconds=SHORT_LEASE + 90 * number)["drained"]
        found = worker.rows()
        if drained and number > 2 and not set(found.states) & {"planned", "claimed", "sending"}:
            return found
    raise AssertionError([row for row in found.rows if row["state"] in ("planned", "claimed", "sending")])


@pytest.mark.parametrize("kills", [pytest.param(12, id="some"), pytest.param(KILLS, id="all", marks=pytest.mark.long)])
def test_killed_at_random_nothing_is_lost_and_nothing_comes_twice(
    worker: Worker, arrivals: Arrivals, kills: int
) -> None:
    worker.order("tune", lease_seconds=SHORT_LEASE, batch=BATCH)
    worker.make(*messages(kills * MESSAGES_A_KILL, seed=kills))
    kill_at_random(worker, kills, seed=kills)
    midway = worker.rows()
    found = drain(worker)
    assert_nothing_lost_and_nothing_twice(found, arrivals)
    # Otherwise the kills met nobody at work, and the test proves nothing.
    assert midway.of("claimed")
    assert midway.of("sending") or midway.of("uncertain") or any(row["repeats"] for row in found.rows)
