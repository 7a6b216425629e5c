"""The states of a message in the outbox and the only ways from one to another."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from enum import StrEnum
from types import MappingProxyType


class MessageState(StrEnum):
    """Where a message stands."""

    PLANNED = "planned"
    CLAIMED = "claimed"
    SENDING = "sending"
    SENT = "sent"
    DROPPED = "dropped"
    MISSED = "missed"
    FAILED = "failed"
    UNCERTAIN = "uncertain"


class IllegalMoveError(ValueError):
    """A change of state that no rule allows."""


_P, _C, _S = MessageState.PLANNED, MessageState.CLAIMED, MessageState.SENDING
_SENT, _DROPPED, _MISSED = MessageState.SENT, MessageState.DROPPED, MessageState.MISSED
_FAILED, _UNCERTAIN = MessageState.FAILED, MessageState.UNCERTAIN

MOVES: Mapping[MessageState, frozenset[MessageState]] = MappingProxyType(
    {
        # to sent without sending: said together with another message of the same hour
        _P: frozenset({_C, _SENT, _DROPPED, _MISSED, _FAILED}),
        # back to planned: the lease died, or the last look moved it
        _C: frozenset({_S, _P, _SENT, _DROPPED, _MISSED, _FAILED}),
        # back to planned: a temporary fault before anything was handed over
        _S: frozenset({_SENT, _P, _MISSED, _FAILED, _UNCERTAIN}),
        # a bounce or a receipt may still say that it never arrived
        _SENT: frozenset({_FAILED}),
        # wanted again
        _DROPPED: frozenset({_P}),
        _MISSED: frozenset(),
        # a person tries again, after putting right what was wrong
        _FAILED: frozenset({_P}),
        # claimed: once more with the same key; planned: a person sends it again; the others: a receipt settled it
        _UNCERTAIN: frozenset({_C, _P, _SENT, _FAILED}),
    }
)
"""Every allowed move; what is not here is a fault in the program."""

DROPPABLE = frozenset({_P, _C})
"""States in which a message nobody wants any more can still be stopped."""

REDATABLE = frozenset({_P, _DROPPED})
"""States in which the same row takes a new date; any other needs the next ordinal."""

NEEDS_PERSON = frozenset({_FAILED, _UNCERTAIN})
"""States that a machine cannot settle."""

ONCE_MORE = 1
"""How often a safety message is sent again, with the same key, after nothing was heard."""

CLOCKS_DIFFER = timedelta(seconds=5)
"""How far the clocks of two hosts may stand apart, or one may be set back, without a living worker being taken for
dead: then a message would be sent by both."""


def may_move(current: MessageState, wanted: MessageState) -> bool:
    """Tell whether a message may go from `current` to `wanted`; staying put is no move."""
    return wanted in MOVES[current]


def check_move(current: MessageState, wanted: MessageState) -> None:
    """Raise IllegalMoveError, naming both states and the allowed ones, where the move is not allowed."""
    if not may_move(current, wanted):
        allowed = ", ".join(sorted(MOVES[current])) or "nothing"
        msg = f"a message that is {current} cannot become {wanted}, only {allowed}"
        raise IllegalMoveError(msg)


def sources_of(wanted: MessageState) -> frozenset[MessageState]:
    """Return the states a message may have before it becomes `wanted`: the condition of the UPDATE."""
    return frozenset(state for state, targets in MOVES.items() if wanted in targets)


def lease_is_dead(lease_until: datetime, now: datetime, length: timedelta) -> bool:
    """Tell whether a lease of that `length` no longer holds at `now` (both aware).

    It has run out, or it ends further ahead than any lease can, whatever the clocks of two hosts differ: then the
    clock was set back, and waiting for it would leave the message lying.
    """
    return lease_until <= now or lease_until - now > length + CLOCKS_DIFFER


def after_dead_lease(state: MessageState) -> MessageState:
    """Return what becomes of a row whose worker is gone.

    A claimed row was not handed over and is planned again; one being sent may have arrived, so it is uncertain.
    Raises IllegalMoveError for a state that holds no lease.
    """
    if state is MessageState.CLAIMED:
        return MessageState.PLANNED
    if state is MessageState.SENDING:
        return MessageState.UNCERTAIN
    msg = f"a message that is {state} holds no lease"
    raise IllegalMoveError(msg)


def may_send_once_more(*, is_safety: bool, repeats: int) -> bool:
    """Tell whether an uncertain message goes again by itself: safety kinds, once."""
    return is_safety and repeats < ONCE_MORE
