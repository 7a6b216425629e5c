"""Who has to be called, since when, and who first."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.call_list import CallReason, Open, call_order, overdue_since, unfinished_since, unreachable_since

R = CallReason
NEW_YORK, SANTIAGO = ZoneInfo("America/New_York"), ZoneInfo("America/Santiago")
NOON = datetime(2027, 3, 26, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def test_every_reason_is_named_as_it_is_written() -> None:
    assert [reason.value for reason in CallReason] == [
        "skin_report",
        "call_back",
        "overdue",
        "unreachable",
        "undelivered",
        "uncertain",
        "reply",
        "unfinished",
    ]


def test_the_list_begins_with_what_cannot_wait() -> None:
    urgent = Open(reason=R.SKIN_REPORT, since=NOON, urgent=True)
    forgotten = Open(reason=R.OVERDUE, since=NOON, overdue_messages=2)
    others = [Open(reason=reason, since=NOON) for reason in CallReason if reason is not R.REPLY]

    assert sorted([*reversed(others), forgotten, urgent], key=call_order) == [urgent, forgotten, *others]


def test_the_longest_waiting_comes_first_among_equals() -> None:
    early, late = Open(reason=R.CALL_BACK, since=NOON), Open(reason=R.CALL_BACK, since=NOON + HOUR)

    assert sorted([late, early], key=call_order) == [early, late]


def test_a_reply_nobody_sorted_stands_with_the_calls_asked_for() -> None:
    reply, asked = Open(reason=R.REPLY, since=NOON), Open(reason=R.CALL_BACK, since=NOON + HOUR)

    assert call_order(reply) < call_order(asked)
    assert call_order(reply)[0] == call_order(asked)[0]


@pytest.mark.parametrize(("messages", "top"), [(1, False), (2, True), (3, True)])
def test_an_overdue_tape_rises_after_the_second_message(messages: int, top: bool) -> None:
    overdue = Open(reason=R.OVERDUE, since=NOON, overdue_messages=messages)

    assert (call_order(overdue) < call_order(Open(reason=R.SKIN_REPORT, since=NOON - HOUR))) is top


def test_only_its_own_reason_raises_an_item() -> None:
    plain = call_order(Open(reason=R.UNCERTAIN, since=NOON))

    assert call_order(Open(reason=R.UNCERTAIN, since=NOON, urgent=True, overdue_messages=5)) == plain


def test_an_item_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^since needs a time zone"):
        call_order(Open(reason=R.REPLY, since=datetime(2027, 3, 26)))


# IANA time zone database: midnight in New York, and in Santiago where midnight of 6 September 2026 is missing.
@pytest.mark.parametrize(
    ("closes_on", "zone", "since"),
    [
        (date(2027, 3, 31), NEW_YORK, "2027-04-01T04:00"),
        (date(2027, 3, 13), NEW_YORK, "2027-03-14T05:00"),
        (date(2026, 9, 5), SANTIAGO, "2026-09-06T04:00"),
    ],
)
def test_a_tape_is_overdue_from_the_day_after_its_window_against_iana(
    closes_on: date, zone: ZoneInfo, since: str
) -> None:
    assert overdue_since(closes_on, zone) == utc(since)


def test_who_cannot_be_told_is_called_on_the_removal_day() -> None:
    assert unreachable_since(date(2027, 3, 31), NEW_YORK) == utc("2027-03-31T04:00")


def test_who_stopped_with_tape_on_is_called_at_once() -> None:
    stopped = datetime(2027, 3, 27, 9, 0, tzinfo=NEW_YORK)

    assert unreachable_since(date(2027, 3, 31), NEW_YORK, stopped) == utc("2027-03-27T13:00")
    with pytest.raises(ValueError, match=r"^stopped_at needs a time zone"):
        unreachable_since(date(2027, 3, 31), NEW_YORK, datetime(2027, 3, 27))


def test_a_draft_is_asked_about_at_closing_time() -> None:
    assert unfinished_since(date(2027, 3, 26), time(18), NEW_YORK) == utc("2027-03-26T22:00")
