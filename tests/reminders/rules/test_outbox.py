"""The outbox's states and the moves between them."""

from datetime import UTC, datetime, timedelta
from itertools import product

import pytest

from reminders.rules.outbox import (
    CLOCKS_DIFFER,
    DROPPABLE,
    MOVES,
    NEEDS_PERSON,
    REDATABLE,
    IllegalMoveError,
    MessageState,
    after_dead_lease,
    check_move,
    lease_is_dead,
    may_move,
    may_send_once_more,
    sources_of,
)

S = MessageState
NOON = datetime(2027, 3, 26, 12, 0, tzinfo=UTC)
LEASE = timedelta(seconds=60)
SECOND = timedelta(seconds=1)

# Written out a second time, as pairs: a message may go from the first to the second and nowhere else.
ALLOWED = {
    (S.PLANNED, S.CLAIMED),
    (S.PLANNED, S.SENT),
    (S.PLANNED, S.DROPPED),
    (S.PLANNED, S.MISSED),
    (S.PLANNED, S.FAILED),
    (S.CLAIMED, S.SENDING),
    (S.CLAIMED, S.PLANNED),
    (S.CLAIMED, S.SENT),
    (S.CLAIMED, S.DROPPED),
    (S.CLAIMED, S.MISSED),
    (S.CLAIMED, S.FAILED),
    (S.SENDING, S.SENT),
    (S.SENDING, S.PLANNED),
    (S.SENDING, S.MISSED),
    (S.SENDING, S.FAILED),
    (S.SENDING, S.UNCERTAIN),
    (S.SENT, S.FAILED),
    (S.DROPPED, S.PLANNED),
    (S.FAILED, S.PLANNED),
    (S.UNCERTAIN, S.CLAIMED),
    (S.UNCERTAIN, S.PLANNED),
    (S.UNCERTAIN, S.SENT),
    (S.UNCERTAIN, S.FAILED),
}


@pytest.mark.parametrize(("current", "wanted"), list(product(MessageState, repeat=2)))
def test_a_message_goes_only_the_ways_that_are_written_down(current: MessageState, wanted: MessageState) -> None:
    assert may_move(current, wanted) is ((current, wanted) in ALLOWED)


def test_every_state_is_named_as_it_is_written() -> None:
    assert all(state.value == state.name.lower() for state in MessageState)
    assert set(MOVES) == set(MessageState)


def test_an_allowed_move_passes_silently() -> None:
    check_move(S.PLANNED, S.CLAIMED)


def test_a_move_that_is_not_allowed_names_what_would_be() -> None:
    with pytest.raises(IllegalMoveError, match=r"^a message that is dropped cannot become sent, only planned$"):
        check_move(S.DROPPED, S.SENT)
    with pytest.raises(IllegalMoveError, match=r"^a message that is uncertain cannot become dropped, only claimed, fa"):
        check_move(S.UNCERTAIN, S.DROPPED)


def test_a_missed_message_stays_missed() -> None:
    with pytest.raises(IllegalMoveError, match=r"^a message that is missed cannot become planned, only nothing$"):
        check_move(S.MISSED, S.PLANNED)


@pytest.mark.parametrize(
    ("wanted", "before"),
    [
        (S.CLAIMED, {S.PLANNED, S.UNCERTAIN}),
        (S.SENDING, {S.CLAIMED}),
        (S.DROPPED, {S.PLANNED, S.CLAIMED}),
        (S.UNCERTAIN, {S.SENDING}),
        (S.PLANNED, {S.CLAIMED, S.SENDING, S.DROPPED, S.FAILED, S.UNCERTAIN}),
    ],
)
def test_the_condition_of_a_change_names_every_state_before_it(wanted: MessageState, before: set[S]) -> None:
    assert sources_of(wanted) == before


def test_what_can_be_dropped_is_exactly_what_may_become_dropped() -> None:
    assert sources_of(S.DROPPED) == DROPPABLE


def test_a_row_that_went_out_or_may_have_is_never_dated_anew() -> None:
    assert set(REDATABLE) == {S.PLANNED, S.DROPPED}
    assert set(NEEDS_PERSON) == {S.FAILED, S.UNCERTAIN}


@pytest.mark.parametrize(
    ("ends", "dead"),
    [
        (-SECOND, True),
        (timedelta(0), True),
        (SECOND, False),
        (LEASE, False),
        (LEASE + CLOCKS_DIFFER, False),
        (LEASE + CLOCKS_DIFFER + SECOND, True),
        (LEASE + timedelta(hours=2), True),
    ],
)
def test_a_lease_is_dead_when_over_or_impossibly_far_ahead(ends: timedelta, dead: bool) -> None:
    assert lease_is_dead(NOON + ends, NOON, LEASE) is dead


def test_a_claimed_row_without_its_worker_is_planned_again() -> None:
    assert after_dead_lease(S.CLAIMED) is S.PLANNED


def test_a_row_that_may_have_been_handed_over_is_uncertain() -> None:
    assert after_dead_lease(S.SENDING) is S.UNCERTAIN


@pytest.mark.parametrize("state", sorted(set(MessageState) - {S.CLAIMED, S.SENDING}))
def test_other_states_hold_no_lease(state: MessageState) -> None:
    with pytest.raises(IllegalMoveError, match=f"^a message that is {state} holds no lease$"):
        after_dead_lease(state)


@pytest.mark.parametrize(("is_safety", "repeats", "again"), [(True, 0, True), (True, 1, False), (False, 0, False)])
def test_only_a_safety_message_goes_once_more(is_safety: bool, repeats: int, again: bool) -> None:
    assert may_send_once_more(is_safety=is_safety, repeats=repeats) is again
