"""How calls end. All of it is common practice, no source; what is checked is who may close what."""

import pytest

from reminders.rules.call_endings import SCRIPTS, CallEnding, endings_of, script_of
from reminders.rules.call_list import CallReason


def whats(reason: CallReason, *, therapist: bool) -> list[str]:
    return [ending.what.value for ending in endings_of(reason, therapist=therapist)]


def test_the_desk_hands_a_skin_report_over_first() -> None:
    assert whats(CallReason.SKIN_REPORT, therapist=False) == ["hand_over", "no_answer", "spoke"]


@pytest.mark.parametrize("therapist", [True, False])
@pytest.mark.parametrize("reason", [CallReason.SKIN_REPORT, CallReason.UNFINISHED])
def test_what_a_call_does_not_settle_is_never_closed_by_one(reason: CallReason, *, therapist: bool) -> None:
    assert [ending for ending in endings_of(reason, therapist=therapist) if ending.closes] == []


@pytest.mark.parametrize("therapist", [True, False])
@pytest.mark.parametrize("reason", [CallReason.OVERDUE, CallReason.UNREACHABLE])
def test_a_call_about_tape_that_is_on_closes_only_with_the_tape(reason: CallReason, *, therapist: bool) -> None:
    closing = [ending.what for ending in endings_of(reason, therapist=therapist) if ending.closes]
    assert closing == [CallEnding.IS_OFF]


@pytest.mark.parametrize(
    "reason", [CallReason.CALL_BACK, CallReason.UNDELIVERED, CallReason.UNCERTAIN, CallReason.REPLY]
)
def test_what_a_conversation_settles_is_closed_by_speaking_or_with_a_note(reason: CallReason) -> None:
    closing = [(ending.what, ending.needs_note) for ending in endings_of(reason, therapist=False) if ending.closes]
    assert closing == [(CallEnding.SPOKE, False), (CallEnding.SORTED_OUT, True)]


@pytest.mark.parametrize("reason", list(CallReason))
def test_a_therapist_has_nobody_to_hand_over_to(reason: CallReason) -> None:
    assert CallEnding.HAND_OVER.value not in whats(reason, therapist=True)
    assert CallEnding.HAND_OVER.value in whats(reason, therapist=False)


@pytest.mark.parametrize("reason", list(CallReason))
def test_each_reason_has_a_script_without_gaps(reason: CallReason) -> None:
    text = script_of(reason, emergency="911", day="Monday, 15 March", remover="home")
    assert "{" not in text
    assert reason in SCRIPTS


@pytest.mark.parametrize("reason", [CallReason.SKIN_REPORT, CallReason.CALL_BACK, CallReason.OVERDUE])
def test_emergencies_are_asked_about_with_the_clinics_number(reason: CallReason) -> None:
    assert "hang up and call 911" in script_of(reason, emergency="911")


def test_without_an_emergency_number_the_script_still_says_to_call_it() -> None:
    assert "call the emergency number" in script_of(CallReason.SKIN_REPORT, emergency="")


@pytest.mark.parametrize(
    ("remover", "said"),
    [
        ("home", "Please take it off as your page shows."),
        ("helper", "Please ask your helper to take it off. Not alone."),
        ("clinic", "Please come to us and do not take it off yourself. Let us find a time."),
    ],
)
def test_the_overdue_script_says_who_takes_it_off(remover: str, said: str) -> None:
    text = script_of(CallReason.OVERDUE, emergency="911", remover=remover)
    assert f"No: {said} Does" in text


def test_a_script_about_no_tape_names_none() -> None:
    assert script_of(CallReason.UNCERTAIN, emergency="911") == (
        "We do not know whether our message reached you. Did you get it?"
    )
