"""Where each kind of message goes when quiet hours cover its usual time."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from reminders.rules.plan import (
    ApplicationFacts,
    MessageKind,
    MessagePolicy,
    VisitFacts,
    plan_visit_with_drops,
    plan_with_drops,
)

# 47 CFR 64.1200(c)(1), United States: texts go from 8 a.m. to 9 p.m. on the clock of the person called.
LAWFUL = (time(8, 0), time(21, 0))

KOLKATA = ZoneInfo("Asia/Kolkata")
EVERYTHING = frozenset({MessageKind.EXERCISE_OK, MessageKind.REMOVAL_EVE})


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=KOLKATA)


# A Monday morning in Kolkata, whose clocks never change; worn until Saturday the 9th.
FACTS = ApplicationFacts(
    saved_at=local("2027-01-04T10:00"),
    applied_at=local("2027-01-04T10:00"),
    adhesion_minutes=20,
    water_minutes=60,
    opens_on=date(2027, 1, 8),
    closes_on=date(2027, 1, 9),
    removal_day=date(2027, 1, 9),
    clinic_zone=KOLKATA,
    caution=True,
)
ENDED = replace(FACTS, ended_at=local("2027-01-07T22:30"), ended_how="off")


def goes(facts: ApplicationFacts, quiet: str, kind: str, ordinal: int = 1) -> str | None:
    """Return the local day and time at which the message goes with these quiet hours, None where it does not."""
    begins, ends = (time.fromisoformat(clock) for clock in quiet.split("-"))
    plan = plan_with_drops(facts, MessagePolicy(begins, ends, EVERYTHING))
    found = [message for message in plan.messages if (message.kind, message.ordinal) == (kind, ordinal)]
    drops = [drop for drop in plan.dropped if (drop.kind, drop.ordinal) == (kind, ordinal)]
    assert len(found) + len(drops) == 1
    return f"{found[0].due_at.astimezone(KOLKATA):%d %H:%M}" if found else None


@pytest.mark.parametrize(
    ("kind", "ordinal", "quiet", "at"),
    [
        # waits for the end of the quiet hours
        ("aftercare", 1, "09:00-11:30", "04 11:30"),
        ("exercise_ok", 1, "10:15-12:00", "04 12:00"),
        ("skin_check", 1, "21:00-12:00", "05 12:00"),
        ("skin_check", 2, "21:00-20:59", "06 20:59"),
        ("removal_eve", 1, "17:00-23:00", "08 23:00"),
        ("removal_day", 1, "21:00-09:30", "09 09:30"),
        ("removal_overdue", 1, "21:00-12:00", "10 12:00"),
        ("removal_overdue", 2, "09:30-21:59", "11 21:59"),
        # goes before they begin, where their end is too late
        ("skin_check", 1, "09:30-21:00", "05 09:15"),
        ("skin_check", 2, "09:30-21:00", "06 09:15"),
        ("removal_eve", 1, "17:00-00:00", "08 16:45"),
        ("removal_day", 1, "08:00-00:00", "09 07:45"),
        ("removal_overdue", 1, "09:30-22:00", "10 09:15"),
        # is dropped, where before is too early
        ("exercise_ok", 1, "10:15-12:20", None),
        ("exercise_ok", 1, "10:10-13:00", None),
        # is not touched by quiet hours that begin or end beside it
        ("aftercare", 1, "10:01-09:59", "04 10:00"),
        ("skin_check", 1, "08:00-10:00", "05 10:00"),
        ("removal_day", 1, "09:01-08:59", "09 09:00"),
    ],
)
def test_each_kind_goes_where_it_is_still_of_use(kind: str, ordinal: int, quiet: str, at: str | None) -> None:
    assert goes(FACTS, quiet, kind, ordinal) == at


@pytest.mark.parametrize(
    ("quiet", "at"), [("21:00-08:00", "09 08:00"), ("08:00-07:00", "09 07:00"), ("01:00-02:00", "08 22:30")]
)
def test_the_follow_up_only_ever_moves_later(quiet: str, at: str) -> None:
    assert goes(ENDED, quiet, "skin_follow_up") == at


def test_aftercare_saved_in_the_evening_of_a_long_quiet_time_goes_next_morning() -> None:
    late = replace(FACTS, saved_at=local("2027-01-04T22:00"))

    assert goes(late, "21:00-08:00", "aftercare") == "05 08:00"


def test_a_removal_day_on_the_day_after_taping_leaves_aftercare_the_evening() -> None:
    short = replace(
        FACTS,
        applied_at=local("2027-01-04T21:30"),
        saved_at=local("2027-01-04T21:30"),
        opens_on=date(2027, 1, 5),
        closes_on=date(2027, 1, 5),
        removal_day=date(2027, 1, 5),
    )

    assert goes(short, "21:00-08:00", "aftercare") is None
    assert goes(short, "22:00-08:00", "aftercare") == "04 21:30"


# Every hour of taping and the usual quiet hours: whatever goes, goes inside the hours of the regulation.
@pytest.mark.parametrize("hour", range(24))
def test_no_hour_of_taping_leads_to_a_text_at_night_against_cfr(hour: int) -> None:
    applied = local("2027-01-04T00:00") + timedelta(hours=hour)
    facts = replace(FACTS, applied_at=applied, saved_at=applied)

    plan = plan_with_drops(facts, MessagePolicy(optional_messages=EVERYTHING))
    clocks = [message.due_at.astimezone(KOLKATA).time() for message in plan.messages]

    assert all(LAWFUL[0] <= clock < LAWFUL[1] for clock in clocks)
    assert len(plan.messages) + len(plan.dropped) == 8


# Every hour of booking and of the visit, the same regulation.
@pytest.mark.parametrize("hour", range(24))
def test_no_hour_of_booking_leads_to_a_text_at_night_against_cfr(hour: int) -> None:
    booked = local("2027-01-04T00:00") + timedelta(hours=hour)
    visits = [
        VisitFacts(starts_at=booked + timedelta(hours=ahead), booked_at=booked, clinic_zone=KOLKATA)
        for ahead in range(1, 72)
    ]
    for plan in (plan_visit_with_drops(visit, MessagePolicy()) for visit in visits):
        clocks = [message.due_at.astimezone(KOLKATA).time() for message in plan.messages]
        assert all(LAWFUL[0] <= clock < LAWFUL[1] for clock in clocks)
        assert all(message.due_at < message.expires_at for message in plan.messages)
        assert len(plan.messages) + len(plan.dropped) == 2


def test_times_are_the_same_whatever_zone_the_facts_were_written_in() -> None:
    policy = MessagePolicy(optional_messages=EVERYTHING)
    elsewhere = replace(FACTS, applied_at=FACTS.applied_at.astimezone(ZoneInfo("America/New_York")))

    assert plan_with_drops(elsewhere, policy) == plan_with_drops(FACTS, policy)
    assert {message.due_at.tzinfo for message in plan_with_drops(elsewhere, policy).messages} == {UTC}
