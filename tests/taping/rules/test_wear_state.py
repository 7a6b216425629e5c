"""What the pages say a tape is doing."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from taping.rules.clock import ClockError
from taping.rules.wear import WindowError, wear_window
from taping.rules.wear_state import TapeState, WornTape, tape_state

NEW_YORK = ZoneInfo("America/New_York")


def tape_of(applied_at: datetime, *, removal_day: date | None = None, ended: bool = False) -> WornTape:
    window = wear_window(applied_at, NEW_YORK)
    return WornTape(applied_at, 20, window, removal_day or window.closes_on, ended)


FRIDAY = tape_of(datetime(2027, 3, 26, 15, 0, tzinfo=UTC), removal_day=date(2027, 3, 30))


@pytest.mark.parametrize(
    ("now", "state"),
    [
        ("2027-03-26T14:59:59", "setting"),  # the time typed for the tape is a little ahead of the clock
        ("2027-03-26T15:00:00", "setting"),
        ("2027-03-26T15:19:59", "setting"),
        ("2027-03-26T15:20:00", "on"),
        ("2027-03-30T03:59:59", "on"),  # 29 March, a second before midnight in New York
        ("2027-03-30T04:00:00", "due"),
        ("2027-04-01T03:59:59", "due"),  # the window's last day, its last second
        ("2027-04-01T04:00:00", "overdue"),
        ("2027-05-01T04:00:00", "overdue"),
    ],
)
def test_a_tape_goes_from_setting_to_overdue_by_the_clinics_calendar(now: str, state: str) -> None:
    assert tape_state(datetime.fromisoformat(now).replace(tzinfo=UTC), FRIDAY, NEW_YORK) == state


@pytest.mark.parametrize("days", [0, 4, 5, 60])
def test_an_ended_tape_is_off_at_any_time(days: int) -> None:
    tape = tape_of(FRIDAY.applied_at, ended=True)
    assert tape_state(FRIDAY.applied_at + timedelta(days=days), tape, NEW_YORK) is TapeState.OFF


def test_a_tape_without_word_of_its_end_is_never_off() -> None:
    assert tape_state(datetime(2030, 1, 1, tzinfo=UTC), FRIDAY, NEW_YORK) is TapeState.OVERDUE


def test_before_the_chosen_day_a_tape_inside_its_window_is_not_due() -> None:
    tape = tape_of(FRIDAY.applied_at)
    assert tape_state(datetime(2027, 3, 30, 12, tzinfo=UTC), tape, NEW_YORK) is TapeState.ON
    assert tape_state(datetime(2027, 3, 31, 12, tzinfo=UTC), tape, NEW_YORK) is TapeState.DUE


def test_a_wait_that_crosses_midnight_is_still_setting_on_an_early_removal_day() -> None:
    late = datetime(2027, 3, 26, 23, 50, tzinfo=NEW_YORK)
    tape = tape_of(late, removal_day=date(2027, 3, 27))
    assert tape_state(datetime(2027, 3, 27, 0, 9, tzinfo=NEW_YORK), tape, NEW_YORK) is TapeState.SETTING
    assert tape_state(datetime(2027, 3, 27, 0, 10, tzinfo=NEW_YORK), tape, NEW_YORK) is TapeState.DUE


def test_the_hour_that_happens_twice_does_not_end_a_wait_early_or_late() -> None:
    # 1 November 2026, 01:50 EDT; twenty minutes later the wall shows 01:10 EST (IANA tz database).
    tape = tape_of(datetime(2026, 11, 1, 1, 50, tzinfo=NEW_YORK))
    before, after = (datetime(2026, 11, 1, 1, minute, tzinfo=NEW_YORK, fold=1) for minute in (9, 10))
    assert tape_state(datetime(2026, 11, 1, 1, 55, tzinfo=NEW_YORK), tape, NEW_YORK) is TapeState.SETTING
    assert tape_state(before, tape, NEW_YORK) is TapeState.SETTING
    assert tape_state(after, tape, NEW_YORK) is TapeState.ON


def test_a_naive_moment_is_refused() -> None:
    with pytest.raises(ClockError, match="has no time zone"):
        tape_state(datetime(2027, 3, 26, 15, 0), FRIDAY, NEW_YORK)


@pytest.mark.parametrize(("day", "ok"), [(25, False), (26, True), (31, True)])
def test_the_removal_day_lies_between_the_tape_and_the_windows_end(day: int, ok: bool) -> None:
    if ok:
        assert tape_of(FRIDAY.applied_at, removal_day=date(2027, 3, day)).removal_day.day == day
    else:
        with pytest.raises(WindowError, match="give a day from 2027-03-26 to 2027-03-31"):
            tape_of(FRIDAY.applied_at, removal_day=date(2027, 3, day))


def test_a_removal_day_after_the_window_is_refused() -> None:
    with pytest.raises(WindowError, match="removal day 2027-04-01 is outside the wear of this tape"):
        tape_of(FRIDAY.applied_at, removal_day=date(2027, 4, 1))
