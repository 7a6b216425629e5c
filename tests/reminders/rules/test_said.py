"""Whether what was settled already stands for a message as it is planned now, so that nobody reads it twice."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.facts import ApplicationFacts, MessagePolicy, Removal
from reminders.rules.kinds import MessageKind
from reminders.rules.plan import plan_messages
from reminders.rules.planned import PlannedMessage, Settled, is_said

NOW = datetime(2027, 1, 4, 9, 15, tzinfo=UTC)
HOUR = timedelta(hours=1)
CAUSE = ("Twenty minutes after the tape was laid.",)
QUIET = "moved from 09:15 to 10:00: quiet hours"


def planned(
    due_at: datetime,
    *,
    kind: MessageKind = MessageKind.AFTERCARE,
    reasons: tuple[str, ...] = CAUSE,
    expires_at: datetime = NOW + 8 * HOUR,
) -> PlannedMessage:
    return PlannedMessage(kind, 1, due_at, expires_at=expires_at, reasons=reasons)


def settled(due_at: datetime = NOW - HOUR, *, reasons: tuple[str, ...] = CAUSE, went: bool = False) -> Settled:
    return Settled(due_at=due_at, expires_at=NOW + 8 * HOUR, reasons=reasons, went=went)


def test_the_same_time_is_said_whatever_the_reasons() -> None:
    assert is_said(planned(NOW + HOUR, reasons=("Another cause.",)), settled(NOW + HOUR), NOW) is True


def test_what_is_past_its_use_need_not_be_said() -> None:
    assert is_said(planned(NOW + HOUR), settled(reasons=()), NOW + 8 * HOUR) is True
    later = planned(NOW + 9 * HOUR)
    assert is_said(later, settled(NOW, reasons=()), NOW + 8 * HOUR - timedelta(seconds=1)) is False


@pytest.mark.parametrize("kind", MessageKind)
@pytest.mark.parametrize("went", [True, False])
def test_news_is_told_once_and_another_cause_makes_anything_else_due_again(kind: MessageKind, *, went: bool) -> None:
    again = planned(NOW + HOUR, kind=kind, reasons=("Another cause.",))
    assert is_said(again, settled(went=went), NOW) is kind.is_news


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
    assert is_said(planned(NOW + later), settled(reasons=reasons), NOW) is said


@pytest.mark.parametrize(
    ("again", "stored", "said"),
    [
        ((*CAUSE, QUIET), CAUSE, True),
        (CAUSE, (*CAUSE, QUIET), True),
        ((*CAUSE, QUIET), (*CAUSE, "moved from 07:00 to 08:00: quiet hours", "the mail server was busy"), True),
        ((*CAUSE, "09:00 on the removal day", QUIET), CAUSE, False),
        (("Another cause.", QUIET), CAUSE, False),
    ],
)
def test_quiet_hours_alone_never_say_a_message_again_that_went(
    again: tuple[str, ...], stored: tuple[str, ...], *, said: bool
) -> None:
    """At 09:30, with quiet hours that now last until 10:00, what went at 09:15 would be planned for 10:00."""
    assert is_said(planned(NOW + HOUR, reasons=again), settled(reasons=stored, went=True), NOW) is said


def test_one_that_never_went_takes_the_new_time() -> None:
    assert is_said(planned(NOW + HOUR, reasons=(*CAUSE, QUIET)), settled(went=False), NOW) is False


def test_another_day_is_said_again() -> None:
    """The cause of a removal day that was moved may read the same; its use ends on another day."""
    moved = planned(NOW + 24 * HOUR, expires_at=NOW + 32 * HOUR)
    assert is_said(moved, settled(went=True), NOW) is False


QUIET_NOW = MessagePolicy(time(21), time(8))
LONGER = MessagePolicy(time(21), time(10))
ZONE = ZoneInfo("America/New_York")


def facts(**changes: Any) -> ApplicationFacts:
    applied_at = datetime(2027, 3, 10, 14, 15, tzinfo=UTC)
    values: dict[str, Any] = {
        "saved_at": applied_at, "applied_at": applied_at, "adhesion_minutes": 20, "water_minutes": 60,
        "opens_on": date(2027, 3, 14), "closes_on": date(2027, 3, 15), "removal_day": date(2027, 3, 15),
        "clinic_zone": ZONE, "removal": Removal.HOME, "removal_visit_starts_at": None, "first_application": True,
        "caution": True, "ended_at": None, "ended_how": None, "patient_zone": ZONE,
    }  # fmt: skip
    return ApplicationFacts(**(values | changes))


def said_again(before: ApplicationFacts, after: ApplicationFacts, at: datetime) -> list[str]:
    """The kinds that go a second time where everything due before `at` went, and quiet hours then end at 10:00."""
    went = {(one.kind, one.ordinal): one for one in plan_messages(before, QUIET_NOW) if one.due_at <= at}
    again = [one for one in plan_messages(after, LONGER) if (one.kind, one.ordinal) in went]
    stored = [went[one.kind, one.ordinal] for one in again]
    rows = [Settled(due_at=one.due_at, expires_at=one.expires_at, reasons=one.reasons, went=True) for one in stored]
    return [one.kind.value for one, row in zip(again, rows, strict=True) if not is_said(one, row, at)]


@pytest.mark.parametrize(
    "at",
    [
        datetime(2027, 3, 10, 14, 30, tzinfo=UTC),  # 09:30, aftercare went at 09:15
        datetime(2027, 3, 15, 13, 30, tzinfo=UTC),  # 09:30 on the removal day, in summer time
    ],
)
def test_of_a_real_plan_longer_quiet_hours_say_nothing_again(at: datetime) -> None:
    assert said_again(facts(), facts(), at) == []


def test_of_a_real_plan_a_removal_day_that_was_moved_is_said_again() -> None:
    """Told at 09:00 that the tape comes off today; at 09:30 it is moved to the next day, with longer quiet hours."""
    at = datetime(2027, 3, 15, 13, 30, tzinfo=UTC)
    after = facts(closes_on=date(2027, 3, 16), removal_day=date(2027, 3, 16))
    assert said_again(facts(), after, at) == ["removal_day"]


def test_of_a_real_plan_another_hour_of_the_visit_is_said_again() -> None:
    """Told the evening before of 09:30; at 19:00 the visit is moved to 11:00, which 10:00 still announces."""
    early, late = (datetime(2027, 3, 15, hour, 30, tzinfo=UTC) for hour in (13, 15))
    at = datetime(2027, 3, 14, 23, 0, tzinfo=UTC)
    before, after = facts(removal_visit_starts_at=early), facts(removal_visit_starts_at=late)
    assert said_again(before, after, at) == ["removal_day"]
