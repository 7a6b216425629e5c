"""Late entries: a reason after a quarter of an hour, and two local days back at most."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from taping.rules.clock import ClockError
from taping.rules.late_entry import LATE_AFTER, MOST_DAYS_BACK, days_back, is_late, too_far_back

NEW_YORK = ZoneInfo("America/New_York")
NOW = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)


@pytest.mark.parametrize(("back", "late"), [(timedelta(0), False), (LATE_AFTER, False), (LATE_AFTER * 1.01, True)])
def test_reason_is_asked_after_a_quarter_of_an_hour(back: timedelta, late: bool) -> None:
    assert is_late(NOW - back, NOW) is late


@pytest.mark.parametrize(
    ("then", "days"),
    [
        (datetime(2027, 3, 10, 5, 0, tzinfo=UTC), 0),  # midnight in New York
        (datetime(2027, 3, 10, 4, 59, tzinfo=UTC), 1),
        (datetime(2027, 3, 8, 5, 0, tzinfo=UTC), 2),
        (datetime(2027, 3, 8, 4, 59, tzinfo=UTC), 3),
        (datetime(2027, 3, 11, 5, 0, tzinfo=UTC), -1),
    ],
)
def test_days_are_counted_by_midnights_of_the_clinic(then: datetime, days: int) -> None:
    assert days_back(then, NOW, NEW_YORK) == days
    assert too_far_back(then, NOW, NEW_YORK) is (days > MOST_DAYS_BACK)


def test_days_of_23_hours_count_as_days() -> None:
    # New York goes from 02:00 to 03:00 on 14 March 2027 (IANA tz).
    evening, monday = datetime(2027, 3, 14, 1, 0, tzinfo=UTC), datetime(2027, 3, 15, 14, 0, tzinfo=UTC)
    assert days_back(evening, monday, NEW_YORK) == 2


def test_naive_times_are_refused() -> None:
    with pytest.raises(ClockError):
        is_late(datetime(2027, 3, 10), NOW)
