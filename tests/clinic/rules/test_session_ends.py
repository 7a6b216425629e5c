"""When a log-in is asked for again."""

from datetime import datetime, timedelta

import pytest

from clinic.rules.session_ends import SessionState, is_over, noted_moment, session_state
from tests.factories.clinic import NOW

IDLE, LONGEST = timedelta(minutes=10), timedelta(hours=12)


def state(since_start: timedelta, since_touch: timedelta) -> SessionState:
    return session_state(
        started_at=NOW - since_start, touched_at=NOW - since_touch, now=NOW, idle=IDLE, longest=LONGEST
    )


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [(0, "awake"), (9.99, "awake"), (10, "locked"), (11, "locked"), (60 * 11, "locked"), (-5, "awake")],
)
def test_it_locks_after_ten_minutes_without_touch(minutes: float, expected: str) -> None:
    assert state(timedelta(hours=11), timedelta(minutes=minutes)) == expected


@pytest.mark.parametrize(("hours", "expected"), [(0, "awake"), (11.99, "awake"), (12, "over"), (30, "over")])
def test_it_ends_after_a_working_day_however_often_it_is_touched(hours: float, expected: str) -> None:
    assert state(timedelta(hours=hours), timedelta(0)) == expected


def test_the_end_stands_over_the_lock() -> None:
    assert state(LONGEST, IDLE) is SessionState.OVER


@pytest.mark.parametrize("name", ["started_at", "touched_at", "now"])
def test_a_moment_without_zone_is_refused(name: str) -> None:
    moments = {"started_at": NOW, "touched_at": NOW, "now": NOW, name: datetime(2027, 3, 10)}
    with pytest.raises(ValueError, match=name):
        session_state(**moments, idle=IDLE, longest=LONGEST)


def test_a_session_that_notes_nothing_has_no_moment() -> None:
    assert (noted_moment(NOW.timestamp()), noted_moment(None), noted_moment("soon")) == (NOW, None, None)


@pytest.mark.parametrize(("hours", "expected"), [(0, False), (11.99, False), (12, True)])
def test_every_log_in_ends_as_the_one_at_hand_does(hours: float, expected: bool) -> None:
    began = NOW - timedelta(hours=hours)
    assert is_over(started_at=began, now=NOW, longest=LONGEST) is expected
    assert (state(timedelta(hours=hours), timedelta(0)) is SessionState.OVER) is expected
