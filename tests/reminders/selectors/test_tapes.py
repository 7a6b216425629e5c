"""Tape at a moment, checked around the ends of its waits, midnight and the clock change of 14 March 2027."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from clinic.models import Clinic
from reminders.selectors.tapes import MOST_TAPES, tape_row, tapes_today, with_reaction
from taping.models import Application, SkinReport
from tests.factories import ApplicationFactory
from tests.factories.clinic import NOW

ZONE = ZoneInfo("America/New_York")

pytestmark = pytest.mark.django_db


@pytest.fixture
def tape(clinic: Clinic) -> Application:
    made: Application = ApplicationFactory()
    return made


@pytest.mark.parametrize(
    ("seconds", "left"), [(0, 20), (1, 20), (60, 19), (61, 19), (1139, 2), (1140, 1), (1199, 1), (1200, 0), (9999, 0)]
)
def test_minutes_left_are_rounded_up_so_that_none_is_given_away(tape: Application, seconds: int, left: int) -> None:
    assert tape_row(tape, now=NOW + timedelta(seconds=seconds), zone=ZONE).minutes_left == left


@pytest.mark.parametrize(
    ("moment", "state"),
    [
        (NOW, "setting"),
        (NOW + timedelta(minutes=20), "on"),
        (datetime(2027, 3, 15, 3, 59, 59, tzinfo=UTC), "on"),
        (datetime(2027, 3, 15, 4, 0, tzinfo=UTC), "due"),
        (datetime(2027, 3, 16, 3, 59, 59, tzinfo=UTC), "due"),
        (datetime(2027, 3, 16, 4, 0, tzinfo=UTC), "overdue"),
    ],
)
def test_the_state_turns_at_the_clinics_midnight(tape: Application, moment: datetime, state: str) -> None:
    """From 14 March New York is four hours behind UTC (IANA time zone database)."""
    assert tape_row(tape, now=moment, zone=ZONE).state == state


def test_the_waits_end_on_the_clock_that_is_shown_after_the_change(clinic: Clinic) -> None:
    """Taped at 01:50 on the night the clocks go from 02:00 to 03:00: twenty minutes later it is 03:10."""
    application: Application = ApplicationFactory(applied_at=datetime(2027, 3, 14, 6, 50, tzinfo=UTC))
    row = tape_row(application, now=application.applied_at, zone=ZONE)
    assert (f"{row.adhesion_ends_at:%H:%M}", f"{row.water_ends_at:%H:%M}") == ("03:10", "03:50")
    assert row.minutes_left == 20


@pytest.mark.parametrize(
    ("ended_at", "days"),
    [
        (NOW + timedelta(minutes=1), 0),
        (datetime(2027, 3, 11, 4, 59, tzinfo=UTC), 0),
        (datetime(2027, 3, 11, 5, 0, tzinfo=UTC), 1),
        (datetime(2027, 3, 15, 3, 59, tzinfo=UTC), 4),
        (datetime(2027, 3, 15, 4, 0, tzinfo=UTC), 5),
    ],
)
def test_days_worn_count_midnights_of_the_clinic(tape: Application, ended_at: datetime, days: int) -> None:
    tape.ended_at = ended_at
    assert tape_row(tape, now=NOW + timedelta(days=30), zone=ZONE).worn_days == days


def test_while_it_is_on_no_days_worn_are_claimed(tape: Application) -> None:
    row = tape_row(tape, now=NOW + timedelta(days=3), zone=ZONE)
    assert (row.worn_days, row.day_number) == (None, 3)


def test_only_an_open_report_marks_a_reaction(tape: Application) -> None:
    report = SkinReport.objects.create(patient=tape.patient, application=tape, reported_at=NOW, signs=[])
    rows = with_reaction(Application.objects.all())
    assert tape_row(rows.get(), now=NOW, zone=ZONE).reaction
    SkinReport.objects.filter(pk=report.pk).update(closed_at=NOW)
    assert not tape_row(rows.get(), now=NOW, zone=ZONE).reaction


def test_today_holds_what_sets_and_what_comes_off_and_nothing_else(clinic: Clinic) -> None:
    setting, due, overdue = (
        ApplicationFactory(applied_at=NOW - length)
        for length in (timedelta(minutes=5), timedelta(days=5), timedelta(days=8))
    )
    ApplicationFactory(applied_at=NOW - timedelta(days=2))
    ApplicationFactory(applied_at=NOW - timedelta(days=9), ended_at=NOW, ended_how="off")
    ApplicationFactory(applied_at=NOW - timedelta(minutes=5), ended_at=NOW, ended_how="came_off")
    found = tapes_today(now=NOW, zone=ZONE)
    assert [row.application for row in found.setting] == [setting]
    assert [row.application for row in found.coming_off] == [overdue, due]


def test_the_wait_that_ends_next_stands_first(clinic: Clinic) -> None:
    later, sooner = (ApplicationFactory(applied_at=NOW - timedelta(minutes=minutes)) for minutes in (1, 15))
    longest = ApplicationFactory(applied_at=NOW - timedelta(minutes=119), adhesion_minutes=120)
    found = tapes_today(now=NOW, zone=ZONE)
    assert [row.application for row in found.setting] == [longest, sooner, later]


def test_more_than_fit_are_counted_and_the_longest_overdue_are_shown(clinic: Clinic) -> None:
    oldest = ApplicationFactory(applied_at=NOW - timedelta(days=30))
    for _ in range(MOST_TAPES + 1):
        ApplicationFactory(applied_at=NOW - timedelta(days=8))
    found = tapes_today(now=NOW, zone=ZONE)
    assert (len(found.coming_off), found.more) == (MOST_TAPES, 2)
    assert found.coming_off[0].application == oldest


def test_a_tape_removed_early_at_the_clinic_is_due_on_its_visits_day(clinic: Clinic) -> None:
    ApplicationFactory(applied_at=NOW - timedelta(days=3), removal_day=NOW.date())
    assert [row.state for row in tapes_today(now=NOW, zone=ZONE).coming_off] == ["due"]
