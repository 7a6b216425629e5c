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
        """Whether it respects quiet hours; an answer to a text the patient has just sent does not."""
        return self is not MessageKind.STOP_CONFIRMED

    @property
    def may_come_early(self) -> bool:
        """Whether it may be said some minutes before its time, together with another.

        Not where the moment is a waiting time: "your tape has set" is wrong a minute too early.
        """
        return self not in _NEVER_EARLY

    @property
    def needs_consent(self) -> bool:
        """Whether it needs consent; only the one answer to a STOP goes without."""
        return self is not MessageKind.STOP_CONFIRMED


_SAFETY = frozenset(
    {MessageKind.AFTERCARE, MessageKind.SKIN_CHECK, MessageKind.REMOVAL_DAY, MessageKind.REMOVAL_OVERDUE}
)
_OPTIONAL = frozenset({MessageKind.EXERCISE_OK, MessageKind.REMOVAL_EVE})
_NEVER_EARLY = frozenset({MessageKind.AFTERCARE, MessageKind.EXERCISE_OK, MessageKind.SKIN_FOLLOW_UP})
