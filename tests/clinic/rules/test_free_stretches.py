"""What of a day nobody has taken, checked against a minute-by-minute search."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clinic.rules.slots import FreeTime, Spans, free_stretches

LONDON = ZoneInfo("Europe/London")
MONDAY = date(2027, 1, 18)
MORNING_AND_AFTERNOON = [(time(14), time(18)), (time(8), time(12))]


def found(**changes: Any) -> list[str]:
    asked: dict[str, Any] = {"hours": {0: MORNING_AND_AFTERNOON}, "closures": [], "busy": [], "zone": LONDON}
    return [_shown(one) for one in free_stretches(MONDAY, **(asked | changes))]


def _shown(one: FreeTime) -> str:
    return f"{one.starts_at.astimezone(LONDON):%H:%M}-{one.ends_at.astimezone(LONDON):%H:%M}"


def at(clock: str) -> datetime:
    return datetime.combine(MONDAY, time.fromisoformat(clock), LONDON)


def test_an_empty_day_is_free_from_end_to_end_of_its_hours() -> None:
    assert found() == ["08:00-12:00", "14:00-18:00"]


def test_visits_cut_it_up_and_what_touches_leaves_nothing_between() -> None:
    busy = [
        (at("09:00"), at("09:30")),
        (at("09:30"), at("10:00")),
        (at("11:30"), at("12:30")),
        (at("17:00"), at("18:00")),
    ]
    assert found(busy=busy) == ["08:00-09:00", "10:00-11:30", "14:00-17:00"]


def test_what_is_too_short_to_book_is_left_out() -> None:
    busy = [(at("08:10"), at("11:50"))]
    assert found(busy=busy) == ["14:00-18:00"]
    assert found(busy=busy, shortest_minutes=10) == ["08:00-08:10", "11:50-12:00", "14:00-18:00"]


def test_spans_that_touch_or_overlap_are_one() -> None:
    hours = {0: [(time(8), time(12)), (time(12), time(13)), (time(12, 30), time(0))]}
    assert found(hours=hours, busy=[(at("11:45"), at("12:15"))]) == ["08:00-11:45", "12:15-00:00"]


@pytest.mark.parametrize(
    "changes", [{"closures": [MONDAY]}, {"hours": {1: MORNING_AND_AFTERNOON}}, {"busy": [(at("07:00"), at("19:00"))]}]
)
def test_a_closed_or_full_day_has_nothing(changes: dict[str, Any]) -> None:
    assert found(**changes) == []


def test_clocks_that_go_forward_take_their_hour() -> None:
    sunday = date(2027, 3, 28)
    stretches = free_stretches(sunday, hours={6: [(time(0), time(4))]}, closures=[], busy=[], zone=LONDON)
    assert [one.ends_at - one.starts_at for one in stretches] == [timedelta(hours=3)]


@pytest.mark.parametrize("changes", [{"shortest_minutes": 0}, {"zone": UTC}, {"busy": [(at("10:00"), at("09:00"))]}])
def test_what_makes_no_sense_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"."):
        found(**changes)


_minutes = st.integers(0, 23 * 60)


@st.composite
def _spans(draw: st.DrawFn) -> Spans:
    pairs = draw(st.lists(st.tuples(_minutes, st.integers(1, 300)), max_size=3))
    return [(time(begin // 60, begin % 60), _clock(min(begin + length, 1439))) for begin, length in pairs]


def _clock(minute: int) -> time:
    return time(minute // 60, minute % 60)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=60)
@given(_spans(), st.lists(st.tuples(_minutes, st.integers(0, 200)), max_size=5))
def test_every_minute_is_in_a_stretch_or_taken_or_outside(spans: Spans, taken: list[tuple[int, int]]) -> None:
    midnight = datetime.combine(MONDAY, time.min, UTC)
    busy = [(midnight + timedelta(minutes=at), midnight + timedelta(minutes=at + length)) for at, length in taken]
    stretches = free_stretches(
        MONDAY, hours={0: spans}, closures=[], busy=busy, shortest_minutes=1, zone=ZoneInfo("Etc/UTC")
    )
    for minute in range(1440):
        moment = midnight + timedelta(minutes=minute)
        opened = any(opens <= moment.time() < closes for opens, closes in spans)
        free = opened and not any(begin <= moment < end for begin, end in busy)
        assert free == any(one.starts_at <= moment < one.ends_at for one in stretches)
    assert all(one.ends_at < other.starts_at for one, other in pairwise(stretches))
