"""Which tries to log in are looked at: counted by device and network, with shares of the work, in bounded memory."""

import logging
import time
from threading import Event, Thread

import pytest

from clinic.rules.gate import ALL_STRANGERS, HOME_FOR_S, KNOWN_DEVICE, NETWORK
from clinic.services.gate import EACH_NETWORK, Gate, Reason, Refused, Share, Tally, Tried

NOW = 1_800_000_000.0


@pytest.fixture
def gate() -> Gate:
    return Gate()


def wrong(gate: Gate, *, device: str | None = None, network: str = "203.0.113.0", now: float = NOW) -> Tried | Refused:
    """A try whose password turns out wrong, or that is refused."""
    found = gate.enter(device=device, network=network, now=now)
    if isinstance(found, Tried):
        found.leave()
    return found


def test_one_network_has_its_tries_and_then_one_each_quarter_minute(gate: Gate) -> None:
    for _ in range(NETWORK.at_once):
        assert isinstance(wrong(gate), Tried)
    assert wrong(gate) == Refused(Reason.NETWORK, NETWORK.each_s)
    assert isinstance(wrong(gate, now=NOW + NETWORK.each_s), Tried)
    assert isinstance(wrong(gate, now=NOW + NETWORK.each_s), Refused)


def test_another_network_and_a_known_device_go_on(gate: Gate) -> None:
    for _ in range(2 * NETWORK.at_once):
        wrong(gate)
    assert isinstance(wrong(gate, network="198.51.100.0"), Tried)
    assert isinstance(wrong(gate, device="tablet"), Tried)


def test_a_thousand_networks_are_one_crowd_and_still_keep_no_known_device_out(gate: Gate) -> None:
    found = [wrong(gate, network=f"10.{n // 250}.{n % 250}.0") for n in range(1000)]
    assert sum(isinstance(one, Tried) for one in found) == ALL_STRANGERS.at_once
    assert found[-1] == Refused(Reason.STRANGERS, ALL_STRANGERS.each_s)
    assert isinstance(wrong(gate, device="tablet"), Tried)


def test_a_known_device_slows_down_only_itself(gate: Gate) -> None:
    found = [wrong(gate, device="of somebody who left") for _ in range(KNOWN_DEVICE.at_once + 1)]
    assert found[-1] == Refused(Reason.DEVICE, KNOWN_DEVICE.each_s)
    assert isinstance(wrong(gate, device="tablet"), Tried)
    assert isinstance(wrong(gate), Tried)


def test_right_passwords_are_not_counted(gate: Gate) -> None:
    for _ in range(5 * ALL_STRANGERS.at_once):
        found = wrong(gate)
        assert isinstance(found, Tried)
        found.forgive()


def test_a_network_refused_takes_nothing_from_the_others(gate: Gate) -> None:
    for _ in range(10_000):
        wrong(gate)
    others = [wrong(gate, network=f"10.0.{n}.0") for n in range(ALL_STRANGERS.at_once - NETWORK.at_once)]
    assert all(isinstance(one, Tried) for one in others)


def test_memory_is_bounded_and_the_oldest_are_forgotten() -> None:
    tally = Tally(most=100)
    for number in range(5000):
        assert tally.spend([(Reason.DEVICE, str(number), KNOWN_DEVICE)], NOW) is None
    assert len(tally) == 100
    for _ in range(KNOWN_DEVICE.at_once - 1):
        assert tally.spend([(Reason.DEVICE, "4999", KNOWN_DEVICE)], NOW) is None
    assert tally.spend([(Reason.DEVICE, "4999", KNOWN_DEVICE)], NOW) is not None


def test_giving_back_what_was_forgotten_does_nothing() -> None:
    tally = Tally(most=1)
    tally.give_back([(Reason.DEVICE, "never seen", KNOWN_DEVICE)])
    assert len(tally) == 0


def test_one_guesser_never_fills_the_places_of_strangers() -> None:
    share = Share(at_once=1, waiting=2, each=EACH_NETWORK, patience_s=0)
    assert share.enter("guesser")
    assert not share.enter("guesser")  # nobody waits for longer than their patience
    assert not share.enter("somebody else")
    share.leave("guesser")
    assert share.enter("somebody else")


def test_who_waits_goes_next_and_places_are_counted() -> None:
    share, inside, done = Share(at_once=1, waiting=1, each=2, patience_s=30), Event(), Event()
    assert share.enter("first")

    def second() -> None:
        assert share.enter("second")
        inside.set()
        done.wait(30)
        share.leave("second")

    waiting = Thread(target=second)
    waiting.start()
    while share._held["second"] == 0:
        pass
    assert not share.enter("third")  # no place is left, and that is said at once
    share.leave("first")
    assert inside.wait(30)
    done.set()
    waiting.join(30)
    assert share._held == {}


def test_who_finds_no_hand_free_is_told_to_come_again_and_not_counted(gate: Gate) -> None:
    gate._strange = Share(at_once=1, waiting=0, each=1, patience_s=0)
    first = gate.enter(device=None, network="a", now=NOW)
    assert isinstance(first, Tried)
    for _ in range(2 * ALL_STRANGERS.at_once):
        assert gate.enter(device=None, network="b", now=NOW) == Refused(Reason.BUSY, 1.0)
    first.leave()
    assert isinstance(wrong(gate, network="b"), Tried)


def test_the_log_gets_a_line_a_minute(gate: Gate, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, logger="clinic.services.gate"):
        for number in range(NETWORK.at_once + 10_000):
            wrong(gate, now=NOW + number / 1e6)
        assert len(caplog.records) == 1
        for _ in range(100):
            wrong(gate, now=NOW + 61)
    assert [record.getMessage().split()[-1] for record in caplog.records] == ["1", "10000"]


def _stand_in_line(share: Share, count: int) -> bool:
    """Whether so many wait, once the threads have had ten seconds to get there."""
    deadline = time.monotonic() + 10
    while len(share._queue) < count and time.monotonic() < deadline:
        time.sleep(0.001)
    return len(share._queue) == count


def test_a_guesser_who_waits_already_is_overtaken_by_somebody_else() -> None:
    share, order = Share(at_once=1, waiting=2, each=2, patience_s=30), list[str]()
    assert share.enter("guesser")

    def wait(key: str) -> None:
        assert share.enter(key)
        order.append(key)
        share.leave(key)

    threads = [Thread(target=wait, args=(key,)) for key in ("guesser", "nurse")]
    for number, thread in enumerate(threads, start=1):
        thread.start()
        assert _stand_in_line(share, number)
    share.leave("guesser")
    for thread in threads:
        thread.join()
    assert order == ["nurse", "guesser"]
    assert share.enter("anybody"), "the slot is free again"


def test_who_gives_up_waiting_leaves_place_and_turn_to_others() -> None:
    share = Share(at_once=1, waiting=1, each=2, patience_s=0)
    assert (share.enter("one"), share.enter("two")) == (True, False)
    share.leave("one")
    assert (share.enter("three"), share._queue) == (True, [])


def test_a_new_browser_where_somebody_logged_in_is_kept_out_by_no_crowd_elsewhere(gate: Gate) -> None:
    gate.logged_in("198.51.100.0", NOW)
    for n in range(1000):
        wrong(gate, network=f"10.{n // 250}.{n % 250}.0")
    assert isinstance(wrong(gate, network="198.51.100.0"), Tried)
    assert wrong(gate, network="192.0.2.0") == Refused(Reason.STRANGERS, ALL_STRANGERS.each_s)


def test_guesses_in_the_clinic_s_own_network_are_counted_all_the_same(gate: Gate) -> None:
    gate.logged_in("198.51.100.0", NOW)
    found = [wrong(gate, network="198.51.100.0") for _ in range(NETWORK.at_once + 1)]
    assert found[-1] == Refused(Reason.NETWORK, NETWORK.each_s)
    assert isinstance(wrong(gate, network="203.0.113.0"), Tried), "and take nothing from strangers elsewhere"
    assert isinstance(wrong(gate, device="tablet"), Tried)


@pytest.mark.parametrize(("since_s", "home"), [(0, True), (HOME_FOR_S - 1, True), (HOME_FOR_S, False)])
def test_a_network_is_the_clinic_s_for_a_week(gate: Gate, since_s: int, home: bool) -> None:
    gate.logged_in("198.51.100.0", NOW - since_s)
    for n in range(1000):
        wrong(gate, network=f"10.{n // 250}.{n % 250}.0")
    assert isinstance(wrong(gate, network="198.51.100.0"), Tried) is home


def test_networks_remembered_are_bounded_too() -> None:
    gate = Gate(most_keys=3)
    for n in range(10):
        gate.logged_in(f"10.0.{n}.0", NOW)
    assert list(gate._homes) == ["10.0.7.0", "10.0.8.0", "10.0.9.0"]


def test_a_guesser_in_one_of_the_clinic_s_networks_leaves_a_place_to_the_others(gate: Gate) -> None:
    for network in ("198.51.100.0", "192.0.2.0"):
        gate.logged_in(network, NOW)
    gate._at_home = Share(at_once=1, waiting=2, each=EACH_NETWORK, patience_s=30)
    under_way = gate.enter(device=None, network="198.51.100.0", now=NOW)
    assert isinstance(under_way, Tried)
    waiting = Thread(target=lambda: wrong(gate, network="198.51.100.0"))
    waiting.start()
    assert _stand_in_line(gate._at_home, 1)
    assert gate.enter(device=None, network="198.51.100.0", now=NOW) == Refused(Reason.BUSY, 1.0)
    other = Thread(target=lambda: wrong(gate, network="192.0.2.0"))
    other.start()
    assert _stand_in_line(gate._at_home, 2)
    under_way.leave()
    for one in (waiting, other):
        one.join(30)
    assert gate._at_home._held == {}
