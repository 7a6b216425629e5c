"""When somebody reads what a patient sent: hours, closures and the clock change."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from clinic.models import Clinic, Closure, OpeningHours
from reminders.selectors.link import call_is_open, days_of, opening_at, strips_top_first
from taping.models import Application
from tests.factories import ApplicationFactory, CallItemFactory, StripFactory, UserFactory
from tests.factories.clinic import NOW

ZONE = ZoneInfo("America/New_York")


def opens(moment: datetime) -> datetime | str | None:
    found = opening_at(moment, ZONE)
    return "open" if found.open_now else found.opens_at


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (datetime(2027, 3, 10, 12, 59, 59, tzinfo=UTC), datetime(2027, 3, 10, 13, 0, tzinfo=UTC)),
        (datetime(2027, 3, 10, 13, 0, tzinfo=UTC), "open"),
        (datetime(2027, 3, 10, 22, 59, 59, tzinfo=UTC), "open"),
        (datetime(2027, 3, 10, 23, 0, tzinfo=UTC), datetime(2027, 3, 11, 13, 0, tzinfo=UTC)),
    ],
)
def test_open_from_eight_to_six_the_end_left_out(clinic: Clinic, moment: datetime, expected: object) -> None:
    """Monday to Friday 08:00-18:00 in New York, five hours behind UTC before 14 March."""
    assert opens(moment) == expected


def test_after_the_weekend_of_the_clock_change_it_opens_at_eight_on_the_wall(clinic: Clinic) -> None:
    friday_evening = datetime(2027, 3, 12, 23, 0, tzinfo=UTC)
    assert opens(friday_evening) == datetime(2027, 3, 15, 12, 0, tzinfo=UTC)


def test_a_closure_of_the_clinic_is_passed_over(clinic: Clinic) -> None:
    Closure.objects.create(day=date(2027, 3, 10))
    assert opens(NOW) == datetime(2027, 3, 11, 13, 0, tzinfo=UTC)


def test_one_therapists_day_off_does_not_close_the_clinic(clinic: Clinic) -> None:
    Closure.objects.create(day=date(2027, 3, 10), therapist=UserFactory())
    assert opens(NOW) == "open"


def test_in_the_lunch_break_it_opens_in_the_afternoon(clinic: Clinic) -> None:
    OpeningHours.objects.filter(weekday=2).delete()
    OpeningHours.objects.create(weekday=2, opens=time(8), closes=time(9))
    OpeningHours.objects.create(weekday=2, opens=time(14), closes=time(18))
    assert opens(NOW) == datetime(2027, 3, 10, 19, 0, tzinfo=UTC)


def test_a_clinic_without_hours_promises_no_time(clinic: Clinic) -> None:
    OpeningHours.objects.all().delete()
    assert opens(NOW) is None


def test_the_days_run_from_the_tape_to_the_last_of_its_window(clinic: Clinic) -> None:
    assert days_of(ApplicationFactory(), ZONE) == [date(2027, 3, day) for day in range(10, 16)]


def test_late_at_night_the_first_day_is_the_clinics(clinic: Clinic) -> None:
    """03:30 UTC on 11 March is still 10 March in New York."""
    application = ApplicationFactory(applied_at=datetime(2027, 3, 11, 3, 30, tzinfo=UTC))
    assert days_of(application, ZONE)[0] == date(2027, 3, 10)


def test_the_strip_laid_last_comes_off_first(clinic: Clinic) -> None:
    tape: Application = ApplicationFactory()
    for position in (1, 2, 3):
        StripFactory(plan=tape.plan, position=position)
    assert [strip.position for strip in strips_top_first(tape)] == [3, 2, 1]


def test_only_this_patients_open_wish_to_be_called_counts(clinic: Clinic) -> None:
    tape: Application = ApplicationFactory()
    CallItemFactory(reason="call_back")
    CallItemFactory(application=tape, reason="call_back", closed_at=NOW)
    CallItemFactory(application=tape, reason="overdue")
    assert not call_is_open(tape)
    CallItemFactory(application=tape, reason="call_back")
    assert call_is_open(tape)
