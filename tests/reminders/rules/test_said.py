"""Whether what was settled already stands for a message as it is planned now, so that nobody reads it twice."""

from datetime import UTC, datetime, timedelta

import pytest

from reminders.rules.kinds import MessageKind
from reminders.rules.planned import PlannedMessage, is_said

NOW = datetime(2027, 1, 4, 9, 15, tzinfo=UTC)
HOUR = timedelta(hours=1)
CAUSE = ("Twenty minutes after the tape was laid.",)
QUIET = "Moved out of the quiet hours."


def planned(
    due_at: datetime, *, kind: MessageKind = MessageKind.AFTERCARE, reasons: tuple[str, ...] = CAUSE
) -> PlannedMessage:
    return PlannedMessage(kind, 1, due_at, expires_at=NOW + 8 * HOUR, reasons=reasons)


def test_the_same_time_is_said_whatever_the_reasons() -> None:
    assert is_said(planned(NOW + HOUR, reasons=("Another cause.",)), NOW, due_at=NOW + HOUR, reasons=CAUSE) is True


def test_what_is_past_its_use_need_not_be_said() -> None:
    assert is_said(planned(NOW + HOUR), NOW + 8 * HOUR, due_at=NOW - HOUR, reasons=()) is True
    assert is_said(planned(NOW + 9 * HOUR), NOW + 8 * HOUR - timedelta(seconds=1), due_at=NOW, reasons=()) is False


@pytest.mark.parametrize("kind", MessageKind)
def test_news_is_told_once_and_another_cause_makes_anything_else_due_again(kind: MessageKind) -> None:
    again = planned(NOW + HOUR, kind=kind, reasons=("Another cause.",))
    assert is_said(again, NOW, due_at=NOW - HOUR, reasons=CAUSE) is kind.is_news


@pytest.mark.parametrize(
    ("later", "reasons", "said"),
    [
        (timedelta(0), CAUSE, True),
        (timedelta(0), (*CAUSE, QUIET), True),
        (timedelta(0), ("Another cause.",), False),
        (timedelta(0), (), False),
        (timedelta(seconds=1), CAUSE, False),
    ],
)
def test_a_time_that_quiet_hours_moved_behind_us_stands_while_its_cause_is_the_same(
    later: timedelta, reasons: tuple[str, ...], *, said: bool
) -> None:
    assert is_said(planned(NOW + later), NOW, due_at=NOW - HOUR, reasons=reasons) is said
