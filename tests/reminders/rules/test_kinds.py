"""What holds for every message of a kind."""

import pytest

from reminders.rules.kinds import MessageKind

K = MessageKind


def having(name: str) -> set[MessageKind]:
    return {kind for kind in MessageKind if getattr(kind, name)}


def test_every_kind_is_named_as_it_is_written() -> None:
    assert all(kind.value == kind.name.lower() for kind in MessageKind)
    assert len(MessageKind) == 13


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("is_safety", {K.AFTERCARE, K.SKIN_CHECK, K.REMOVAL_DAY, K.REMOVAL_OVERDUE, K.DUTY_REPORT}),
        ("is_optional", {K.EXERCISE_OK, K.REMOVAL_EVE}),
        ("keeps_quiet", set(MessageKind) - {K.STOP_CONFIRMED, K.DUTY_REPORT}),
        ("needs_consent", set(MessageKind) - {K.STOP_CONFIRMED, K.DUTY_REPORT}),
        ("is_for_staff", {K.DUTY_REPORT}),
        ("has_own_address", {K.STOP_CONFIRMED, K.DUTY_REPORT}),
        ("is_news", {K.VISIT_BOOKED, K.VISIT_CHANGED, K.VISIT_CANCELLED}),
        ("may_come_early", set(MessageKind) - {K.AFTERCARE, K.EXERCISE_OK, K.SKIN_FOLLOW_UP}),
    ],
)
def test_what_holds_for_which_kinds(name: str, kinds: set[MessageKind]) -> None:
    assert having(name) == kinds


def test_no_safety_message_can_be_switched_off() -> None:
    assert having("is_safety").isdisjoint(having("is_optional"))
