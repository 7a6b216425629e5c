"""How many wrong log-ins are looked at, by counting."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.rules.gate import ALL_STRANGERS, KNOWN_DEVICE, NETWORK, Pace, give_back, spend

PACE = Pace(at_once=3, each_s=10)


def many(times: list[float], pace: Pace = PACE, used: float = 0.0) -> list[float]:
    """How long each try at these moments is told to wait; 0 is looked at."""
    waits = []
    for at in times:
        used, wait = spend(used, at, pace)
        waits.append(wait)
    return waits


def test_so_many_at_once_and_then_one_each_so_many_seconds() -> None:
    assert many([1000, 1000, 1000, 1000, 1009, 1010, 1010, 1020]) == [0, 0, 0, 10, 1, 0, 10, 0]


def test_after_a_while_all_are_to_be_had_again() -> None:
    assert many([1000] * 3 + [1000 + PACE.longest_s] * 4) == [0, 0, 0, 0, 0, 0, 10]


def test_a_try_given_back_was_none() -> None:
    used, _ = spend(0, 1000, PACE)
    assert many([1000] * 4, used=give_back(used, PACE)) == [0, 0, 0, 10]


def test_a_clock_set_back_costs_no_more_than_all_tries() -> None:
    used, _ = spend(0, 1_000_000, PACE)
    assert spend(used, 1000, PACE)[1] == 10
    assert many([1000 + PACE.longest_s], used=used) == [10]
    assert many([1000, 1010], used=used) == [10, 0]


@given(
    st.lists(st.integers(min_value=0, max_value=120), max_size=60).map(sorted),
    st.sampled_from([PACE, Pace(at_once=1, each_s=7)]),
)
def test_never_more_than_it_says_in_any_span(moments: list[int], pace: Pace) -> None:
    waits = many([1e6 + at for at in moments], pace)
    looked_at = [at for at, wait in zip(moments, waits, strict=True) if wait == 0]
    for place, since in enumerate(looked_at):
        for until in looked_at[place:]:
            within = [at for at in looked_at[place:] if at <= until]
            assert len(within) <= pace.at_once + (until - since) / pace.each_s


@given(st.lists(st.integers(min_value=0, max_value=120), min_size=1, max_size=20).map(sorted))
def test_whoever_waits_as_told_is_looked_at_and_not_before(moments: list[int]) -> None:
    used = 0.0
    for at in moments:
        used, wait = spend(used, 1e6 + at, PACE)
        if wait:
            assert spend(used, 1e6 + at + wait, PACE)[1] == 0
            assert spend(used, 1e6 + at + wait - 1, PACE)[1] == 1


@pytest.mark.parametrize("pace", [KNOWN_DEVICE, NETWORK, ALL_STRANGERS])
def test_nobody_waits_longer_than_five_minutes(pace: Pace) -> None:
    assert pace.longest_s <= 300
