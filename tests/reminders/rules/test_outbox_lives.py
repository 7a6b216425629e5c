"""Lives of messages, from planned to their end, as somebody who waits for one would tell them."""

from itertools import pairwise

import pytest

from reminders.rules.outbox import (
    DROPPABLE,
    MOVES,
    NEEDS_PERSON,
    IllegalMoveError,
    MessageState,
    after_dead_lease,
    check_move,
    may_send_once_more,
    sources_of,
)

LIVES = {
    "it goes out": "planned claimed sending sent",
    "it is said together with another": "planned sent",
    "it is said together with another that was claimed in the same batch": "planned claimed sent",
    "the tape came off before": "planned dropped",
    "consent was withdrawn at the last look": "planned claimed dropped",
    "the removal day moved back again": "planned dropped planned claimed sending sent",
    "nothing ran until it was too late": "planned missed",
    "the last look found it too late": "planned claimed missed",
    "the last look found quiet hours": "planned claimed planned claimed sending sent",
    "the worker died after the claim": "planned claimed planned claimed sending sent",
    "the server was busy once": "planned claimed sending planned claimed sending sent",
    "the server was busy until it was too late": "planned claimed sending planned missed",
    "the address does not exist": "planned claimed sending failed",
    "the last look found no channel that works": "planned claimed failed",
    "it was refused for now and by then it was too late": "planned claimed sending missed",
    "there is no address at all": "planned failed",
    "a person put the number right and tried again": "planned claimed sending failed planned claimed sending sent",
    "it bounced a minute later": "planned claimed sending sent failed",
    "nothing was heard and it went once more": "planned claimed sending uncertain claimed sending sent",
    "nothing was heard and a person sent it again": "planned claimed sending uncertain planned claimed sending sent",
    "nothing was heard and a receipt came": "planned claimed sending uncertain sent",
    "nothing was heard and a person found it lost": "planned claimed sending uncertain failed",
}

FAULTS = {
    "it went out twice": "sent sending",
    "it was sent without a claim": "planned sending",
    "it was sent although nobody wanted it": "dropped sent",
    "it was taken back while being handed over": "sending dropped",
    "it was taken back after it had gone": "sent dropped",
    "it was sent too late after all": "missed claimed",
    "it was planned anew although it had arrived": "sent planned",
    "it was forgotten although a person had to act": "failed dropped",
}


def states(life: str) -> list[MessageState]:
    return [MessageState(word) for word in life.split()]


@pytest.mark.parametrize("life", LIVES.values(), ids=LIVES)
def test_a_message_may_live_like_this(life: str) -> None:
    for current, wanted in pairwise(states(life)):
        check_move(current, wanted)


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_what_would_harm_somebody_is_no_move(fault: str) -> None:
    current, wanted = states(fault)

    with pytest.raises(IllegalMoveError):
        check_move(current, wanted)


def test_every_allowed_move_is_part_of_a_told_life() -> None:
    told = {pair for life in LIVES.values() for pair in pairwise(states(life))}

    assert told == {(current, wanted) for current, targets in MOVES.items() for wanted in targets}


def test_the_two_ways_of_looking_at_the_moves_agree() -> None:
    forward = {(current, wanted) for current in MessageState for wanted in MOVES[current]}
    backward = {(current, wanted) for wanted in MessageState for current in sources_of(wanted)}

    assert forward == backward


def reachable(start: MessageState) -> set[MessageState]:
    seen, todo = set[MessageState](), [start]
    while todo:
        state = todo.pop()
        if state not in seen:
            seen.add(state)
            todo += MOVES[state]
    return seen


@pytest.mark.parametrize("state", sorted(set(MessageState) - {MessageState.MISSED}))
def test_no_state_but_missed_is_a_dead_end(state: MessageState) -> None:
    assert MessageState.SENT in reachable(state)
    assert reachable(MessageState.MISSED) == {MessageState.MISSED}


def test_what_a_machine_cannot_settle_is_only_reached_from_a_try_or_a_last_look() -> None:
    before = {state for stuck in NEEDS_PERSON for state in sources_of(stuck)}

    assert before.isdisjoint({MessageState.DROPPED, MessageState.MISSED})
    assert set(DROPPABLE) < before


def test_a_dead_worker_leaves_no_row_where_no_move_leads_on() -> None:
    for state in (MessageState.CLAIMED, MessageState.SENDING):
        check_move(state, after_dead_lease(state))


def test_an_uncertain_safety_message_goes_out_at_most_twice() -> None:
    repeats = 0
    while may_send_once_more(is_safety=True, repeats=repeats):
        repeats += 1

    assert repeats == 1
