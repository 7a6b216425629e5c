"""Clock times on a wall turned into instants, where the wall may skip an hour or show one twice.

Everything returned is an aware datetime in UTC: two values that share one zone are compared by Python by
their wall clocks, which is wrong in the hour a clock change repeats.
"""

import math
from datetime import UTC, date, datetime, time
from functools import lru_cache
from zoneinfo import ZoneInfo


class LocalTimeError(ValueError):
    """A local time that the zone's clocks never show, or show twice."""


def as_instant(value: object, name: str) -> datetime:
    """Return the aware `value` in UTC.

    Raises ValueError naming `name` where it is no datetime or carries no zone, LocalTimeError where the clocks
    of its zone skip it: Python would take another moment for it without a word.
    """
    if not isinstance(value, datetime):
        msg = f"{name} is {value!r}: give a date and time with a time zone"
        raise ValueError(msg)
    if value.tzinfo is UTC:
        return value
    if value.utcoffset() is None:
        msg = f"{name} needs a time zone: {value.isoformat()} has none"
        raise ValueError(msg)
    instant = value.astimezone(UTC)
    shown = instant.astimezone(value.tzinfo)
    if shown.replace(tzinfo=None) != value.replace(tzinfo=None):
        msg = f"{name} {value.isoformat()} does not exist: the clocks skip it; that moment is {shown.isoformat()}"
        raise LocalTimeError(msg)
    return instant


def require_zone(zone: object) -> ZoneInfo:
    """Return `zone`; raise ValueError where it is no ZoneInfo.

    None above all: Python would take the zone of the computer for it without a word.
    """
    if not isinstance(zone, ZoneInfo):
        msg = f"{zone!r} is not a time zone: give a ZoneInfo such as ZoneInfo('America/New_York')"
        raise ValueError(msg)
    return zone


@lru_cache(maxsize=8192)
def at_clock(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """Return the instant (UTC) at which clocks in `zone` show `clock` on `day`.

    A time that a clock change skips means the first instant after the gap; one that happens twice means its
    first reading. Both keep a message on its day, and neither makes it wait an hour longer than it must.
    """
    wall = datetime.combine(day, clock)
    instant = wall.replace(tzinfo=require_zone(zone)).astimezone(UTC)
    if instant.astimezone(zone).replace(tzinfo=None, fold=0) == wall:
        return instant
    return change_between(wall.replace(tzinfo=zone, fold=1).astimezone(UTC), instant, zone)


def day_starts(day: date, zone: ZoneInfo) -> datetime:
    """Return the first instant (UTC) of `day` in `zone`, also where midnight itself is skipped."""
    return at_clock(day, time(0, 0), zone)


def exact_local(wall: datetime, zone: ZoneInfo) -> datetime:
    """Return the one instant (UTC) meant by the naive `wall` time in `zone`.

    For times people typed. Raises LocalTimeError where the clocks skip that time or show it twice, because
    guessing would store an appointment an hour away from what was meant; ValueError where `wall` is aware.
    """
    if wall.tzinfo is not None:
        msg = f"a local time carries no zone of its own: {wall.isoformat()}"
        raise ValueError(msg)
    first, second = (wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first == second:
        return first
    shown = f"{wall:%Y-%m-%d %H:%M} in {zone.key}"
    if first < second:
        msg = f"{shown} happens twice: write {first:%H:%M} or {second:%H:%M} UTC instead"
        raise LocalTimeError(msg)
    msg = f"{shown} does not exist: the clocks skip it, choose an earlier or a later time"
    raise LocalTimeError(msg)


def change_between(earlier: datetime, later: datetime, zone: ZoneInfo) -> datetime:
    """Return the instant (UTC) of the one clock change in `zone` after `earlier` and not after `later`.

    Assumes a single change in between, which holds for anything up to a few days, and changes on whole seconds.
    """
    after = later.astimezone(zone).utcoffset()
    low, high = math.floor(earlier.timestamp()), math.ceil(later.timestamp())
    while high - low > 1:
        middle = (low + high) // 2
        if datetime.fromtimestamp(middle, zone).utcoffset() == after:
            high = middle
        else:
            low = middle
    return datetime.fromtimestamp(high, UTC)
