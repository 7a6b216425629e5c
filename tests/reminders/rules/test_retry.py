"""Faults of gateways, and when to try again."""

import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.rules.retry import Outcome, next_attempt, sort_http, sort_silence, sort_smtp

NOON = datetime(2027, 3, 26, 12, 0, tzinfo=UTC)
FAR = NOON + timedelta(days=5)
MINUTE = timedelta(minutes=1)
SOON, LATER = Outcome.RETRY_SOON, Outcome.RETRY_LATER


def middle() -> float:
    return 0.5


# RFC 5321, 4.2.1 to 4.2.3: 2 done, 4 try again, 5 never; RFC 4954 for the codes of authentication.
@pytest.mark.parametrize(
    ("code", "outcome"),
    [
        (200, Outcome.ACCEPTED),
        (250, Outcome.ACCEPTED),
        (299, Outcome.ACCEPTED),
        (421, SOON),
        (451, SOON),
        (400, SOON),
        (499, SOON),
        (450, LATER),
        (452, LATER),
        (454, LATER),
        (500, Outcome.NEVER),
        (550, Outcome.NEVER),
        (554, Outcome.NEVER),
        (599, Outcome.NEVER),
        (530, LATER),
        (534, LATER),
        (535, LATER),
        (538, LATER),
        (199, Outcome.UNCERTAIN),
        (300, Outcome.UNCERTAIN),
        (399, Outcome.UNCERTAIN),
        (354, Outcome.UNCERTAIN),
        (600, Outcome.UNCERTAIN),
        (-1, Outcome.UNCERTAIN),
    ],
)
def test_a_mail_servers_reply_is_sorted_against_rfc_5321(code: int, outcome: Outcome) -> None:
    assert sort_smtp(code) is outcome


# RFC 9110, 15 and RFC 6585, 4 (429).
@pytest.mark.parametrize(
    ("status", "outcome"),
    [
        (200, Outcome.ACCEPTED),
        (202, Outcome.ACCEPTED),
        (299, Outcome.ACCEPTED),
        (300, Outcome.NEVER),
        (302, Outcome.NEVER),
        (400, Outcome.NEVER),
        (403, Outcome.NEVER),
        (404, Outcome.NEVER),
        (422, Outcome.NEVER),
        (499, Outcome.NEVER),
        (401, LATER),
        (407, LATER),
        (429, LATER),
        (501, LATER),
        (599, LATER),
        (408, SOON),
        (409, SOON),
        (425, SOON),
        (500, SOON),
        (502, SOON),
        (503, SOON),
        (504, Outcome.UNCERTAIN),
        (100, Outcome.UNCERTAIN),
        (199, Outcome.UNCERTAIN),
        (600, Outcome.UNCERTAIN),
        (0, Outcome.UNCERTAIN),
    ],
)
def test_a_gateways_status_is_sorted_against_rfc_9110(status: int, outcome: Outcome) -> None:
    assert sort_http(status) is outcome


def test_silence_after_handing_over_is_never_sent_again_blindly() -> None:
    assert sort_silence(handed_over=True) is Outcome.UNCERTAIN
    assert sort_silence(handed_over=False) is SOON


@pytest.mark.parametrize(
    ("outcome", "minutes"),
    [(SOON, [1, 2, 4, 8, 16, 32, 64, 120, 120]), (LATER, [10, 20, 40, 80, 120, 120])],
)
def test_the_delay_doubles_up_to_two_hours(outcome: Outcome, minutes: list[int]) -> None:
    found = [next_attempt(outcome, attempt, NOON, FAR, middle) for attempt in range(1, len(minutes) + 1)]

    assert found == [NOON + number * MINUTE for number in minutes]


def test_a_very_late_attempt_still_has_a_time() -> None:
    assert next_attempt(SOON, 5_000, NOON, FAR, middle) == NOON + timedelta(hours=2)


@pytest.mark.parametrize(("draw", "seconds"), [(0.0, 48), (0.25, 54), (0.75, 66)])
def test_the_delay_is_spread_a_fifth_to_either_side(draw: float, seconds: int) -> None:
    assert next_attempt(SOON, 1, NOON, FAR, lambda: draw) == NOON + timedelta(seconds=seconds)


def test_the_same_seed_gives_the_same_times() -> None:
    one, two = random.Random(7).random, random.Random(7).random

    assert [next_attempt(SOON, n, NOON, FAR, one) for n in (1, 2)] == [
        next_attempt(SOON, n, NOON, FAR, two) for n in (1, 2)
    ]


def test_no_attempt_is_made_when_the_message_is_useless() -> None:
    assert next_attempt(SOON, 1, NOON, NOON + MINUTE, middle) is None
    assert next_attempt(SOON, 1, NOON, NOON + MINUTE + timedelta(seconds=1), middle) == NOON + MINUTE


@pytest.mark.parametrize(("asked", "minutes"), [(0, 10), (9, 10), (11, 11), (90, 90)])
def test_it_comes_again_no_sooner_than_it_was_asked_to_against_rfc_9110(asked: int, minutes: int) -> None:
    """Retry-After: RFC 9110, 10.2.3; with 429: RFC 6585, 4."""
    assert next_attempt(LATER, 1, NOON, FAR, middle, asked * MINUTE) == NOON + minutes * MINUTE


def test_asked_to_wait_beyond_its_use_there_is_no_next_attempt() -> None:
    assert next_attempt(LATER, 1, NOON, NOON + 60 * MINUTE, middle, 60 * MINUTE) is None
    assert next_attempt(LATER, 1, NOON, NOON + 60 * MINUTE, middle, 59 * MINUTE) == NOON + 59 * MINUTE


@pytest.mark.parametrize("outcome", [Outcome.ACCEPTED, Outcome.NEVER, Outcome.UNCERTAIN])
def test_what_is_settled_is_not_tried_again(outcome: Outcome) -> None:
    assert next_attempt(outcome, 1, NOON, FAR, middle) is None


@pytest.mark.parametrize("attempts", [0, -1])
def test_a_next_attempt_needs_a_first(attempts: int) -> None:
    with pytest.raises(ValueError, match=f"^{attempts} attempts: the next one follows at least one$"):
        next_attempt(SOON, attempts, NOON, FAR, middle)


def test_one_attempt_is_enough_for_a_next() -> None:
    assert next_attempt(SOON, 1, NOON, FAR, middle) is not None


@pytest.mark.parametrize("name", ["now", "expires_at"])
def test_a_naive_time_is_refused_by_name(name: str) -> None:
    times = {"now": NOON, "expires_at": FAR} | {name: datetime(2027, 3, 26, 12)}

    with pytest.raises(ValueError, match=f"^{name} needs a time zone"):
        next_attempt(SOON, 1, times["now"], times["expires_at"], middle)


@settings(deadline=None)
@given(st.sampled_from([SOON, LATER]), st.lists(st.floats(0, 1, exclude_max=True), min_size=4, max_size=4))
def test_delays_grow_whatever_is_drawn(outcome: Outcome, draws: list[float]) -> None:
    found = [next_attempt(outcome, n, NOON, FAR, iter([draw]).__next__) for n, draw in enumerate(draws[:3], start=1)]

    assert None not in found
    assert found == sorted(at for at in found if at is not None)
