"""Free times of one therapist."""

from bisect import bisect_right
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

from clinic.rules.local_time import at_clock, require_zone

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TICK = timedelta(microseconds=1)
_MINUTE = 60_000_000
_DAY = timedelta(days=1)

Spans = Sequence[tuple[time, time]]
_Ticks = list[tuple[int, int]]


class FreeTime(NamedTuple):
    """A time that can be booked: aware ends in UTC, the end exclusive."""

    starts_at: datetime
    ends_at: datetime


def free_times(
    first: date,
    last: date,
    *,
    hours: Mapping[int, Spans],
    closures: Collection[date],
    busy: Iterable[tuple[datetime, datetime]],
    length_minutes: int,
    step_minutes: int = 15,
    zone: ZoneInfo,
) -> list[FreeTime]:
    """Return the times of `length_minutes` free from `first` to `last` (days in `zone`, both included), in order.

    `hours` maps a weekday (Monday 0) to clock times in `zone`, an end of 00:00 meaning the end of the day;
    `busy` holds aware half-open pairs in any order. Starts lie at elapsed steps of `step_minutes` from the
    beginning of each span; a free time lies within one span, and one found from two spans is given once.
    Where a clock change skips the beginning or end of a span the first instant after it counts, where it
    happens twice the first reading. Raises ValueError for a last day before the first, lengths and steps that
    are not positive whole minutes, unknown weekdays, spans that are no clock times or end before they begin, naive
    or inverted busy pairs, and a zone that is no ZoneInfo.
    """
    _check_days(first, last)
    require_zone(zone)
    length, step = _ticks(length_minutes, "length_minutes"), _ticks(step_minutes, "step_minutes")
    _check_hours(hours)
    taken = _merged(busy)
    ends = [end for _, end in taken]
    closed = frozenset(closures)
    found: list[FreeTime] = []
    for offset in range((last - first).days + 1):
        day = first + offset * _DAY
        spans = hours.get(day.weekday(), ())
        if spans and day not in closed:
            found += _free_on(day, sorted(spans), zone, (taken, ends), (length, step))
    return found


def free_stretches(
    day: date,
    *,
    hours: Mapping[int, Spans],
    closures: Collection[date],
    busy: Iterable[tuple[datetime, datetime]],
    shortest_minutes: int = 15,
    zone: ZoneInfo,
) -> list[FreeTime]:
    """Return the whole stretches of `day` within the hours that nobody has taken, in order; short ones are left out.

    Everything is as in `free_times`, and so is what raises ValueError. Spans that touch are one.
    """
    _check_days(day, day)
    require_zone(zone)
    shortest = _ticks(shortest_minutes, "shortest_minutes")
    _check_hours(hours)
    spans = () if day in closures else hours.get(day.weekday(), ())
    open_ticks, taken = _joined(sorted(_span_ticks(day, span, zone) for span in spans)), _merged(busy)
    found: list[FreeTime] = []
    for begin, end in open_ticks:
        edges = [begin, *(edge for one in taken if one[1] > begin and one[0] < end for edge in one), end]
        for at, until in zip(edges[::2], edges[1::2], strict=True):
            if until - at >= shortest:
                found.append(FreeTime(_EPOCH + at * _TICK, _EPOCH + until * _TICK))
    return found


def _span_ticks(day: date, span: tuple[time, time], zone: ZoneInfo) -> tuple[int, int]:
    opens, closes = span
    until = day if closes > time.min else day + _DAY
    return _since_epoch(at_clock(day, opens, zone)), _since_epoch(at_clock(until, closes, zone))


def _free_on(
    day: date, spans: Spans, zone: ZoneInfo, busy: tuple[_Ticks, list[int]], grid: tuple[int, int]
) -> list[FreeTime]:
    found: list[FreeTime] = []
    for span in spans:
        _fill(found, _span_ticks(day, span, zone), busy, grid)
    if any(later[0] < earlier[1] or earlier[1] == time.min for earlier, later in pairwise(spans)):
        return sorted(set(found))
    return found


def _fill(found: list[FreeTime], span: tuple[int, int], busy: tuple[_Ticks, list[int]], grid: tuple[int, int]) -> None:
    """Add the free times of one span, walking from one busy stretch to the next."""
    (at, end), (taken, ends), (length, step) = span, busy, grid
    begin, index = at, bisect_right(ends, at)
    while at + length <= end:
        until = min(end, taken[index][0]) if index < len(taken) else end
        free = (until - length - at) // step + 1
        if free > 0:
            _add(found, at, free, grid)
        if until == end:
            return
        # no start before this busy stretch ends; the grid goes on from the beginning of the span
        at = max(at, begin + -(-(taken[index][1] - begin) // step) * step)
        index += 1


def _add(found: list[FreeTime], at: int, count: int, grid: tuple[int, int]) -> None:
    length, step = grid[0] * _TICK, grid[1] * _TICK
    starts_at = _EPOCH + at * _TICK
    for _ in range(count):
        found.append(FreeTime(starts_at, starts_at + length))
        starts_at += step


def _merged(busy: Iterable[tuple[datetime, datetime]]) -> _Ticks:
    """Return the busy stretches in order, those that touch or overlap as one, empty ones left out."""
    found = sorted((_busy_end(begin), _busy_end(end)) for begin, end in busy)
    for begin, end in found:
        if end < begin:
            msg = f"a busy time ends before it begins: {_EPOCH + begin * _TICK} to {_EPOCH + end * _TICK}"
            raise ValueError(msg)
    return _joined(found)


def _joined(stretches: Iterable[tuple[int, int]]) -> _Ticks:
    """Those that touch or overlap as one, empty ones left out; stretches in order."""
    joined: _Ticks = []
    for begin, end in stretches:
        if end == begin:
            continue
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _busy_end(at: datetime) -> int:
    # Not looked at for times that clocks skip: visits are stored as instants, and there are thousands of them.
    if not isinstance(at, datetime) or at.tzinfo is None:
        msg = f"a busy time is {at}: give a date and time with a time zone"
        raise ValueError(msg)
    return _since_epoch(at)


def _since_epoch(at: datetime) -> int:
    """Return whole microseconds: as exact as a datetime, and quick to compare."""
    gap = at - _EPOCH
    return (gap.days * 86_400 + gap.seconds) * 1_000_000 + gap.microseconds


def _check_days(first: date, last: date) -> None:
    for day in (first, last):
        if isinstance(day, datetime) or not isinstance(day, date):
            msg = f"free times are looked for between two dates, not datetimes or other things: {day!r}"
            raise ValueError(msg)
    if last < first:
        msg = f"the last day {last} lies before the first {first}"
        raise ValueError(msg)


def _check_hours(hours: Mapping[int, Spans]) -> None:
    for weekday, spans in hours.items():
        # True is 1 in Python: a ticked box that reached the keys would open the clinic on Tuesday.
        if type(weekday) is not int or weekday not in range(7):
            msg = f"{weekday!r} is no weekday: Monday is 0, Sunday 6"
            raise ValueError(msg)
        for opens, closes in spans:
            if not isinstance(opens, time) or not isinstance(closes, time):
                msg = f"opening hours are pairs of clock times such as time(8, 0), not {opens!r} and {closes!r}"
                raise ValueError(msg)
            if opens.tzinfo is not None or closes.tzinfo is not None:
                msg = "opening hours are plain clock times; the zone is given apart"
                raise ValueError(msg)
            if time.min < closes <= opens:
                msg = f"hours from {opens:%H:%M} to {closes:%H:%M} end before they begin"
                raise ValueError(msg)


def _ticks(minutes: int, name: str) -> int:
    if isinstance(minutes, bool) or not isinstance(minutes, int) or minutes < 1:
        msg = f"{name} is a positive whole number of minutes, not {minutes!r}"
        raise ValueError(msg)
    return minutes * _MINUTE
