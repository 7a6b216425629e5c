"""The kinds of message and what holds for every message of a kind."""

from enum import StrEnum


class MessageKind(StrEnum):
    """What one message is about."""

    AFTERCARE = "aftercare"
    EXERCISE_OK = "exercise_ok"
    SKIN_CHECK = "skin_check"
    REMOVAL_EVE = "removal_eve"
    REMOVAL_DAY = "removal_day"
    REMOVAL_OVERDUE = "removal_overdue"
    SKIN_FOLLOW_UP = "skin_follow_up"
    VISIT_BOOKED = "visit_booked"
    VISIT_CHANGED = "visit_changed"
    VISIT_CANCELLED = "visit_cancelled"
    VISIT_REMINDER = "visit_reminder"
    STOP_CONFIRMED = "stop_confirmed"
    DUTY_REPORT = "duty_report"

    @property
    def is_safety(self) -> bool:
        """Whether skin may suffer when it does not arrive; these go first and once more when uncertain."""
        return self in _SAFETY

    @property
    def is_optional(self) -> bool:
        """Whether it is sent only where the clinic switched it on."""
        return self in _OPTIONAL

    @property
    def keeps_quiet(self) -> bool:
        """Whether it respects quiet hours; an answer to a text the patient has just sent, or an alarm, does not."""
        return self not in _AT_ONCE

    @property
    def may_come_early(self) -> bool:
        """Whether it may be said some minutes before its time, together with another.

        Not where the moment is a waiting time: "your tape has set" is wrong a minute too early.
        """
        return self not in _NEVER_EARLY

    @property
    def is_news(self) -> bool:
        """Whether it says that something has just happened: once said, another time for it makes it no news again."""
        return self in _NEWS

    @property
    def needs_consent(self) -> bool:
        """Whether it needs consent; the one answer to a STOP goes without, and what goes to the clinic itself."""
        return self not in _AT_ONCE

    @property
    def is_for_staff(self) -> bool:
        """Whether it goes to the clinic's duty address and never to a patient."""
        return self is MessageKind.DUTY_REPORT

    @property
    def has_own_address(self) -> bool:
        """Whether its row carries the address it goes to; for any other the patient's is looked up at the last look."""
        return self in _AT_ONCE


_SAFETY = frozenset(
    {
        MessageKind.AFTERCARE,
        MessageKind.SKIN_CHECK,
        MessageKind.REMOVAL_DAY,
        MessageKind.REMOVAL_OVERDUE,
        MessageKind.DUTY_REPORT,
    }
)
_AT_ONCE = frozenset({MessageKind.STOP_CONFIRMED, MessageKind.DUTY_REPORT})
_OPTIONAL = frozenset({MessageKind.EXERCISE_OK, MessageKind.REMOVAL_EVE})
_NEWS = frozenset({MessageKind.VISIT_BOOKED, MessageKind.VISIT_CHANGED, MessageKind.VISIT_CANCELLED})
_NEVER_EARLY = frozenset({MessageKind.AFTERCARE, MessageKind.EXERCISE_OK, MessageKind.SKIN_FOLLOW_UP})
