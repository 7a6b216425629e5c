"""The plan's table worked out a second time, on dateutil's calendar and clocks."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz as dateutil_tz
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.rules.plan import ApplicationFacts, MessageKind, MessagePolicy, plan_messages

Row = tuple[str, int, datetime, datetime]

# quiet hours nobody's message falls into, so that the table itself is seen
WIDE_AWAKE = MessagePolicy(
    quiet_from=time(4, 0),
    quiet_until=time(4, 15),
    optional_messages=frozenset({MessageKind.EXERCISE_OK, MessageKind.REMOVAL_EVE}),
)


def application(zone: str, applied: datetime, *, first: int = 4, last: int = 5) -> ApplicationFacts:
    """Return a tape put on at the local time `applied`, saved at once and worn as long as the window allows."""
    day = applied.date()
    at = applied.replace(tzinfo=dateutil_tz.gettz(zone)).astimezone(UTC)
    return ApplicationFacts(
        saved_at=at,
        applied_at=at,
        adhesion_minutes=20,
        water_minutes=60,
        opens_on=day + relativedelta(days=first),
        closes_on=day + relativedelta(days=last),
        removal_day=day + relativedelta(days=last),
        clinic_zone=ZoneInfo(zone),
    )


def rows(facts: ApplicationFacts) -> list[Row]:
    return sorted(
        (message.kind.value, message.ordinal, message.due_at, message.expires_at)
        for message in plan_messages(facts, WIDE_AWAKE)
    )


def table(zone: str, facts: ApplicationFacts) -> list[Row]:
    """Work the table out row by row: calendar days by relativedelta, clock times by dateutil's zones."""
    clocks = dateutil_tz.gettz(zone)
    went_on, removal, closes = facts.applied_at, facts.removal_day, facts.closes_on
    day = went_on.astimezone(clocks).date()

    def at(on: date, days: int, hour: int) -> datetime:
        return datetime.combine(on + relativedelta(days=days), time(hour), clocks).astimezone(UTC)

    def late(number: int) -> Row:
        due = at(closes, number, 10)
        return ("removal_overdue", number, due, due + timedelta(hours=12))

    set_at = went_on + timedelta(minutes=20)
    checks = [1, 2] if facts.caution else [2] if facts.first_application else []
    return sorted(
        [
            ("aftercare", 1, went_on, at(removal, 0, 0)),
            ("exercise_ok", 1, set_at, set_at + timedelta(hours=2)),
            *(("skin_check", number, at(day, number, 10), at(day, number, 21)) for number in checks),
            ("removal_eve", 1, at(removal, -1, 18), at(removal, 0, 0)),
            ("removal_day", 1, at(removal, 0, 9), at(removal, 1, 0)),
            late(1),
            late(2),
        ]
    )


# no zone below skips midnight, 9, 10, 18 or 21 o'clock, where the two calendars name the gap differently
ZONES = [
    "America/New_York",
    "America/St_Johns",
    "Asia/Kathmandu",
    "Asia/Kolkata",
    "Australia/Lord_Howe",
    "Australia/Sydney",
    "Europe/Berlin",
    "Europe/London",
    "Pacific/Auckland",
    "Pacific/Chatham",
]
some_days = st.dates(date(2026, 1, 1), date(2027, 12, 20))


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(ZONES), some_days, st.integers(8 * 60, 20 * 60), st.integers(3, 7), st.booleans(), st.booleans())
def test_every_row_is_due_and_useless_when_the_table_says_against_dateutil(
    zone: str, day: date, minute: int, last: int, caution: bool, first_application: bool
) -> None:
    applied = datetime.combine(day, time(minute // 60, minute % 60))
    facts = replace(
        application(zone, applied, first=1, last=last), caution=caution, first_application=first_application
    )

    assert rows(facts) == table(zone, facts)


# Tapes worn over a clock change (IANA time zone database, 2025b and 2026f): local time of taping, days worn, and the
# instant of nine o'clock on the day it comes off.
@pytest.mark.parametrize(
    ("zone", "applied", "days", "nine"),
    [
        ("America/New_York", "2026-03-06T10:00", 3, "2026-03-09T13:00"),
        ("America/New_York", "2026-10-30T10:00", 4, "2026-11-03T14:00"),
        ("Australia/Sydney", "2026-04-02T10:00", 5, "2026-04-06T23:00"),
        ("Australia/Sydney", "2026-10-02T10:00", 3, "2026-10-04T22:00"),
        ("Australia/Lord_Howe", "2026-04-03T10:00", 3, "2026-04-05T22:30"),
        ("Australia/Lord_Howe", "2026-10-02T10:00", 4, "2026-10-05T22:00"),
        ("Europe/Berlin", "2027-03-26T18:00", 3, "2027-03-29T07:00"),
        ("Asia/Kolkata", "2026-03-06T10:00", 3, "2026-03-09T03:30"),
        ("America/St_Johns", "2026-03-06T10:00", 3, "2026-03-09T11:30"),
    ],
)
def test_wear_over_a_clock_change_is_counted_in_days_against_iana(
    zone: str, applied: str, days: int, nine: str
) -> None:
    facts = application(zone, datetime.fromisoformat(applied), first=1, last=days)

    removal = next(row for row in rows(facts) if row[0] == "removal_day")

    assert removal[2] == datetime.fromisoformat(nine).replace(tzinfo=UTC)


# The same tapes: a day after the removal is elapsed time, so the hour on the wall may differ by the clock change.
@pytest.mark.parametrize(
    ("zone", "ended", "wall"),
    [
        ("America/New_York", "2026-03-07T10:00", "11:00"),
        ("America/New_York", "2026-10-31T10:00", "09:00"),
        ("Australia/Lord_Howe", "2026-04-04T10:00", "09:30"),
        ("Australia/Lord_Howe", "2026-10-03T10:00", "10:30"),
        ("Asia/Kolkata", "2026-03-07T10:00", "10:00"),
    ],
)
def test_a_day_after_removal_is_twenty_four_hours_against_iana(zone: str, ended: str, wall: str) -> None:
    at = datetime.fromisoformat(ended).replace(tzinfo=dateutil_tz.gettz(zone))
    facts = replace(application(zone, datetime.fromisoformat(ended) - timedelta(days=3)), ended_at=at)

    ((_, _, due, useless),) = rows(facts)

    assert due == at.astimezone(UTC) + timedelta(hours=24)
    assert f"{due.astimezone(dateutil_tz.gettz(zone)):%H:%M}" == wall
    assert useless - due == timedelta(hours=48)


# IANA time zone database: in Santiago 6 September 2026 begins at one o'clock.
def test_a_day_without_midnight_ends_the_use_at_its_first_instant_against_iana() -> None:
    facts = application("America/Santiago", datetime(2026, 9, 1, 10, 0))
    useless = {kind: until for kind, _, _, until in rows(facts)}

    missing_midnight = datetime(2026, 9, 6, 4, 0, tzinfo=UTC)
    assert (useless["aftercare"], useless["removal_eve"]) == (missing_midnight, missing_midnight)


# An outage is nothing the plan knows; what it fixes is from when on nothing of it is sent any more.
@pytest.mark.parametrize(
    ("kind", "hours"),
    [
        ("exercise_ok", 2.0),
        ("skin_check", 11.0),
        ("removal_eve", 6.0),
        ("removal_day", 15.0),
        ("removal_overdue", 12.0),
    ],
)
def test_after_an_outage_a_message_is_sent_for_so_many_hours_and_then_never(kind: str, hours: float) -> None:
    facts = replace(application("Asia/Kolkata", datetime(2027, 1, 4, 10, 0)), caution=True)

    assert {(row[3] - row[2]) / timedelta(hours=1) for row in rows(facts) if row[0] == kind} == {hours}


def test_moving_the_removal_day_moves_what_hangs_on_it_and_nothing_else() -> None:
    facts = replace(application("Europe/London", datetime(2027, 3, 26, 10, 0)), caution=True)
    sooner = replace(facts, removal_day=facts.removal_day - timedelta(days=1))

    changed = {row[0] for row in set(rows(facts)) ^ set(rows(sooner))}

    assert changed == {"aftercare", "removal_eve", "removal_day"}


def test_shortening_the_window_brings_the_late_questions_forward() -> None:
    facts = application("Europe/London", datetime(2027, 1, 4, 10, 0))
    shorter = replace(facts, opens_on=date(2027, 1, 6), closes_on=date(2027, 1, 7), removal_day=date(2027, 1, 7))

    late = [row[2] for row in rows(shorter) if row[0] == "removal_overdue"]

    assert late == [datetime(2027, 1, 8, 10, tzinfo=UTC), datetime(2027, 1, 9, 10, tzinfo=UTC)]
