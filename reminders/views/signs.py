"""One word, one shape and one tone for each state a page shows; the word alone is enough."""

from collections.abc import Mapping
from dataclasses import dataclass

from reminders.models import CallItem, Message
from reminders.rules.kinds import MessageKind
from taping.models import Application
from taping.rules.wear_state import TapeState


@dataclass(frozen=True, slots=True)
class Sign:
    """What the state fragment draws: a word, the name of a shape, and a tone (good, care, stop, info or quiet)."""

    word: str
    shape: str
    tone: str


TAPE: Mapping[TapeState, Sign] = {
    TapeState.SETTING: Sign("setting", "clock", "info"),
    TapeState.ON: Sign("on the skin", "tape", "good"),
    TapeState.DUE: Sign("comes off today", "day", "care"),
    TapeState.OVERDUE: Sign("overdue", "bang", "stop"),
    TapeState.OFF: Sign("off", "ring", "quiet"),
}

REACTION = Sign("reaction", "stop", "stop")

MESSAGE: Mapping[str, Sign] = {
    Message.State.PLANNED: Sign("will go", "clock", "info"),
    Message.State.CLAIMED: Sign("about to go", "arrow", "info"),
    Message.State.SENDING: Sign("going now", "arrow", "info"),
    Message.State.SENT: Sign("sent", "check", "good"),
    Message.State.DROPPED: Sign("no longer wanted", "ring", "quiet"),
    Message.State.MISSED: Sign("too late to send", "clock", "care"),
    Message.State.FAILED: Sign("not delivered", "cross", "stop"),
    Message.State.UNCERTAIN: Sign("not known whether it arrived", "question", "care"),
}

MESSAGE_MEANS: Mapping[str, str] = {
    Message.State.PLANNED: "It goes by itself at its time. Nothing is to be done.",
    Message.State.CLAIMED: "It goes within the next seconds.",
    Message.State.SENDING: "It is being handed to the mail server or the gateway.",
    Message.State.SENT: "It was handed over. Where the other side tells, it says below whether it arrived.",
    Message.State.DROPPED: "Its reason is gone: the tape is off, the visit was changed, or reminders were stopped.",
    Message.State.MISSED: "Its time passed before it could go. Call, if the patient still has to know.",
    Message.State.FAILED: "It did not arrive, and no other way is left. Call, or put the address right and send again.",
    Message.State.UNCERTAIN: "It was handed over, and then nothing was heard. Call and ask, or send again.",
}

RECEIPT: Mapping[str, str] = {
    Message.Receipt.DELIVERED: "arrived",
    Message.Receipt.UNDELIVERED: "did not arrive",
    Message.Receipt.DELAYED: "the other side is still trying",
}

CALL: Mapping[str, Sign] = {
    CallItem.Reason.SKIN_REPORT: Sign("skin is reacting", "stop", "stop"),
    CallItem.Reason.CALL_BACK: Sign("asked to be called", "phone", "care"),
    CallItem.Reason.OVERDUE: Sign("tape should be off", "bang", "stop"),
    CallItem.Reason.UNREACHABLE: Sign("cannot be reached", "cross", "care"),
    CallItem.Reason.UNDELIVERED: Sign("message not delivered", "cross", "care"),
    CallItem.Reason.UNCERTAIN: Sign("not known whether a message arrived", "question", "care"),
    CallItem.Reason.REPLY: Sign("sent a text", "letter", "care"),
    CallItem.Reason.UNFINISHED: Sign("draft neither taped nor put away", "half", "info"),
}

KIND: Mapping[str, str] = {
    MessageKind.AFTERCARE: "aftercare",
    MessageKind.EXERCISE_OK: "the tape has set",
    MessageKind.SKIN_CHECK: "look at the skin",
    MessageKind.REMOVAL_EVE: "comes off tomorrow",
    MessageKind.REMOVAL_DAY: "comes off today",
    MessageKind.REMOVAL_OVERDUE: "is the tape off?",
    MessageKind.SKIN_FOLLOW_UP: "is the skin calm?",
    MessageKind.VISIT_BOOKED: "visit booked",
    MessageKind.VISIT_CHANGED: "visit moved",
    MessageKind.VISIT_CANCELLED: "visit cancelled",
    MessageKind.VISIT_REMINDER: "visit tomorrow",
    MessageKind.STOP_CONFIRMED: "reminders stopped",
    MessageKind.DUTY_REPORT: "skin reaction, to the duty address",
}

ENDING: Mapping[str, str] = {
    Application.Ending.OFF: "taken off",
    Application.Ending.CAME_OFF: "came off early",
    Application.Ending.SKIN: "taken off for the skin",
}
