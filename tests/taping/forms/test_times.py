"""A typed time is of today, on the clinic's wall, and one that the wall does not show once is refused."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from taping.forms.times import TimeOfDayField, time_of_today
from taping.rules.clock import ClockError

NEW_YORK = ZoneInfo("America/New_York")
NOON = datetime(2027, 3, 10, 17, 0, tzinfo=UTC)  # 12:00 in New York


def test_nothing_typed_is_now() -> None:
    assert TimeOfDayField().clean("") is None
    assert time_of_today(None, now=NOON, zone=NEW_YORK) == NOON


@pytest.mark.parametrize("typed", ["11:20", "11:20:00", "11:20:00.000"])
def test_typed_time_is_of_today(typed: str) -> None:
    found = time_of_today(TimeOfDayField().clean(typed), now=NOON, zone=NEW_YORK)
    assert found == NOON - timedelta(minutes=40)


def test_today_is_the_clinics_day() -> None:
    # 02:00 UTC on the 11th is 21:00 on the 10th in New York.
    now = datetime(2027, 3, 11, 2, 0, tzinfo=UTC)
    assert time_of_today(time(20, 0), now=now, zone=NEW_YORK) == now - timedelta(hours=1)


@pytest.mark.parametrize("typed", ["noon", "25:00", "9"])
def test_what_is_no_time_is_refused_with_an_example(typed: str) -> None:
    with pytest.raises(ValidationError, match=r"Write the time like 14:05\."):
        TimeOfDayField().clean(typed)


@pytest.mark.parametrize(
    ("day", "typed", "words"),
    [
        # New York leaves out 02:00 to 03:00 on 14 March 2027 and repeats 01:00 to 02:00 on 7 November (IANA tz).
        (datetime(2027, 3, 14, 16, 0, tzinfo=UTC), time(2, 30), "does not exist"),
        (datetime(2027, 11, 7, 16, 0, tzinfo=UTC), time(1, 30), "happens twice"),
    ],
)
def test_time_that_the_wall_does_not_show_once_is_refused(day: datetime, typed: time, words: str) -> None:
    with pytest.raises(ClockError, match=words):
        time_of_today(typed, now=day, zone=NEW_YORK)
