"""How a call can end, who may end it so, and what the desk says; all common practice, no source."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from reminders.rules.call_list import CallReason


class CallEnding(StrEnum):
    """What came of a call."""

    SPOKE = "spoke"
    NO_ANSWER = "no_answer"
    IS_OFF = "is_off"
    HAND_OVER = "hand_over"
    SORTED_OUT = "sorted_out"


ENDS_BY_CALLING = frozenset({CallReason.CALL_BACK, CallReason.UNDELIVERED, CallReason.UNCERTAIN, CallReason.REPLY})
"""Reasons that a conversation settles. The others stay until their cause is gone: the tape is off, the draft is put
away, a way to reach the patient is found, or a therapist closed the skin report."""

ENDS_WITH_THE_TAPE = frozenset({CallReason.OVERDUE, CallReason.UNREACHABLE})
"""Reasons that are gone once the patient says that the tape is off."""


@dataclass(frozen=True, slots=True)
class Ending:
    """One button: what it records, its words, and whether it closes the item or needs a note."""

    what: CallEnding
    words: str
    closes: bool
    needs_note: bool = False


def endings_of(reason: CallReason, *, therapist: bool) -> tuple[Ending, ...]:
    """Return the ways to end a call about `reason`, the usual one first.

    The desk can hand anything to a therapist and never closes a skin report; nobody closes one here, since that
    takes the therapist's finding.
    """
    closes = reason in ENDS_BY_CALLING
    spoke = Ending(CallEnding.SPOKE, "Spoke", closes)
    no_answer = Ending(CallEnding.NO_ANSWER, "No answer", closes=False)
    hand_over = Ending(CallEnding.HAND_OVER, "Hand to a therapist", closes=False)
    sorted_out = Ending(CallEnding.SORTED_OUT, "Sorted out, with a note", closes=True, needs_note=True)
    if reason is CallReason.SKIN_REPORT and not therapist:
        return hand_over, no_answer, spoke
    is_off = (Ending(CallEnding.IS_OFF, "It is off", closes=True),) if reason in ENDS_WITH_THE_TAPE else ()
    given = (*is_off, spoke, no_answer) if therapist else (*is_off, spoke, no_answer, hand_over)
    return (*given, sorted_out) if closes else given


_EMERGENCY = (
    "First ask: is it hard to breathe, are lips, tongue or throat swelling, do you feel faint, does your chest hurt? "
    "A yes to any: hang up and call {emergency}. "
)
_CALLS_YOU = "A therapist calls you back today. Give no advice about the skin; hand it over."

SCRIPTS: Mapping[CallReason, str] = {
    CallReason.SKIN_REPORT: _EMERGENCY + "Thank you for telling us about your skin. " + _CALLS_YOU,
    CallReason.CALL_BACK: (
        "You asked us to call. What can we do for you? About skin, pain or numbness: " + _EMERGENCY + _CALLS_YOU
    ),
    CallReason.OVERDUE: (
        "Your tape should be off by now. Is it off? Yes: on which day? No: {off} Does the skin hurt or look "
        "different? Yes: " + _EMERGENCY + _CALLS_YOU
    ),
    CallReason.UNREACHABLE: (
        "You still wear tape and our messages do not reach you. It comes off on {day}. {off} Would you like "
        "messages, and to which number or address?"
    ),
    CallReason.UNDELIVERED: "A message from us did not reach you. Are this number and your address still right? {off}",
    CallReason.UNCERTAIN: "We do not know whether our message reached you. Did you get it? {off}",
    CallReason.REPLY: "You sent us a text. What can we do for you? About skin, pain or numbness: " + _CALLS_YOU,
    CallReason.UNFINISHED: "For staff: a plan was begun, neither taped nor put away. Ask the therapist who began it.",
}
"""What the desk reads out. {emergency}: the emergency number; {day}: the removal day; {off}: who takes the tape off."""

WHO_TAKES_IT_OFF: Mapping[str, str] = {
    "home": "Please take it off as your page shows.",
    "helper": "Please ask your helper to take it off. Not alone.",
    "clinic": "Please come to us and do not take it off yourself. Let us find a time.",
}


def script_of(reason: CallReason, *, emergency: str, day: str = "", remover: str = "") -> str:
    """Return what to say. day and remover ("home", "helper", "clinic") belong to the tape it is about, if any."""
    return (
        SCRIPTS[reason]
        .format(
            emergency=emergency or "the emergency number",
            day=day or "the day we told you",
            off=WHO_TAKES_IT_OFF.get(remover, ""),
        )
        .strip()
    )
