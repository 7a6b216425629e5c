"""The messages of one visit, and the answer to a STOP."""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.plan import (
    DroppedMessage,
    MessageKind,
    MessagePolicy,
    PlannedMessage,
    VisitFacts,
    plan_stop_confirmed,
    plan_visit_messages,
    plan_visit_with_drops,
)

NEW_YORK, LOS_ANGELES = ZoneInfo("America/New_York"), ZoneInfo("America/Los_Angeles")
PLAIN = MessagePolicy()


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


# Wednesday, two in the afternoon in New York, booked on Friday at noon.
STARTS, BOOKED = utc("2027-03-31T18:00"), utc("2027-03-26T16:00")


def facts(**changes: Any) -> VisitFacts:
    known: dict[str, Any] = {"starts_at": STARTS, "booked_at": BOOKED, "clinic_zone": NEW_YORK}
    return VisitFacts(**(known | changes))


def planned(**changes: Any) -> tuple[PlannedMessage, ...]:
    return plan_visit_messages(facts(**changes), PLAIN)


def test_a_booked_visit_is_confirmed_at_once_and_recalled_a_day_before() -> None:
    assert planned() == (
        PlannedMessage(MessageKind.VISIT_BOOKED, 1, BOOKED, STARTS, ("at once: the visit was booked at 12:00",)),
        PlannedMessage(MessageKind.VISIT_REMINDER, 1, utc("2027-03-30T18:00"), STARTS, ("24 hours before the visit",)),
    )


def test_a_moved_visit_is_told_as_its_newest_state_only() -> None:
    moved = utc("2027-03-27T15:00")

    assert planned(changed_at=moved, changes=2) == (
        PlannedMessage(MessageKind.VISIT_CHANGED, 2, moved, STARTS, ("at once: the visit was changed at 11:00",)),
        PlannedMessage(MessageKind.VISIT_REMINDER, 1, utc("2027-03-30T18:00"), STARTS, ("24 hours before the visit",)),
    )


def test_a_cancelled_visit_is_told_once_and_never_recalled() -> None:
    cancelled = utc("2027-03-28T15:00")

    assert planned(changed_at=utc("2027-03-27T15:00"), changes=1, cancelled_at=cancelled) == (
        PlannedMessage(
            MessageKind.VISIT_CANCELLED, 1, cancelled, STARTS, ("at once: the visit was cancelled at 11:00",)
        ),
    )


def test_what_was_booked_at_night_is_confirmed_in_the_morning() -> None:
    confirmed, _ = planned(booked_at=utc("2027-03-27T03:00"))

    assert confirmed.due_at == utc("2027-03-27T12:00")
    assert confirmed.reasons == ("at once: the visit was booked at 23:00", "moved from 23:00 to 08:00: quiet hours")


def test_a_visit_booked_at_night_for_the_early_morning_cannot_be_confirmed_in_time() -> None:
    starts = utc("2027-03-27T11:30")

    plan = plan_visit_with_drops(facts(starts_at=starts, booked_at=utc("2027-03-27T03:00")), PLAIN)

    assert plan.messages == ()
    assert plan.dropped[0] == DroppedMessage(
        MessageKind.VISIT_BOOKED,
        1,
        (
            "at once: the visit was booked at 23:00",
            "23:00 is in quiet hours and nothing is left before 07:30, when it is useless",
        ),
    )


def test_an_early_visit_is_recalled_when_the_quiet_hours_end() -> None:
    _, recalled = planned(starts_at=utc("2027-03-31T11:30"))

    assert recalled.due_at == utc("2027-03-30T12:00")
    assert recalled.reasons == ("24 hours before the visit", "moved from 07:30 to 08:00: quiet hours")


@pytest.mark.parametrize(("booked", "kinds"), [("2027-03-30T17:59", 2), ("2027-03-30T18:00", 1)])
def test_who_was_told_less_than_a_day_before_is_not_told_twice(booked: str, kinds: int) -> None:
    assert len(planned(booked_at=utc(booked))) == kinds


def test_why_there_is_no_reminder_is_said() -> None:
    late = utc("2027-03-31T14:00")

    assert plan_visit_with_drops(facts(changed_at=late, changes=1), PLAIN).dropped == (
        DroppedMessage(
            MessageKind.VISIT_REMINDER,
            1,
            ("24 hours before the visit", "the patient was told at 10:00, less than 24 hours before"),
        ),
    )


# IANA time zone database: London's clocks go forward on 28 March 2027.
def test_a_day_before_is_twenty_four_hours_over_a_clock_change_against_iana() -> None:
    starts = datetime(2027, 3, 28, 12, 0, tzinfo=ZoneInfo("Europe/London"))

    _, recalled = planned(starts_at=starts, booked_at=utc("2027-03-20T12:00"), clinic_zone=ZoneInfo("Europe/London"))

    assert recalled.due_at == utc("2027-03-27T11:00")


def test_a_visit_that_lies_behind_is_not_talked_about() -> None:
    plan = plan_visit_with_drops(facts(booked_at=STARTS), PLAIN)

    assert plan.messages == ()
    assert {drop.kind for drop in plan.dropped} == {MessageKind.VISIT_BOOKED, MessageKind.VISIT_REMINDER}


def test_quiet_hours_and_words_follow_the_patients_clock() -> None:
    confirmed, _ = planned(booked_at=utc("2027-03-26T14:30"), patient_zone=LOS_ANGELES)

    assert confirmed.reasons == ("at once: the visit was booked at 07:30", "moved from 07:30 to 08:00: quiet hours")


def test_a_stop_is_answered_at_once_even_at_night() -> None:
    stopped = datetime(2027, 3, 27, 0, 30, tzinfo=NEW_YORK)

    assert plan_stop_confirmed(stopped) == PlannedMessage(
        MessageKind.STOP_CONFIRMED,
        1,
        utc("2027-03-27T04:30"),
        utc("2027-03-27T05:30"),
        ("the one answer to a STOP, at once",),
    )


def test_a_stop_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^stopped_at needs a time zone"):
        plan_stop_confirmed(datetime(2027, 3, 27) + timedelta(hours=1))
