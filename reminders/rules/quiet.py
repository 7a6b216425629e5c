"""Quiet hours: when nothing is sent, and where a message goes that falls into them."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant, change_between, require_zone

EARLY = timedelta(minutes=15)
"""How long before the quiet hours a message goes that could not wait for their end."""

MOVED = "moved from"
"""How every reason begins that says where a message went instead."""

_TICK = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class Moved:
    """Where a message went: `at` (aware; None: it cannot go) and why (`reason`; None: it was not moved)."""

    at: datetime | None
    reason: str | None


def out_of_quiet(
    due_at: datetime,
    zone: ZoneInfo,
    quiet_from: time,
    quiet_until: time,
    not_after: datetime | None = None,
    not_before: datetime | None = None,
) -> Moved:
    """Return when a message due at `due_at` may go, given quiet hours on the wall clock of `zone`.

    The start of the quiet hours belongs to them, their end does not. A message inside waits for their end; where
    that is not before `not_after` (exclusive) it goes a quarter of an hour before they begin, but never before
    `not_before`. If nothing is left, `at` is None. A moved `at` is in UTC, an unmoved one is `due_at` itself.
    Raises ValueError for a naive or skipped datetime, for a zone that is no ZoneInfo, for ends that are no clock
    times or carry a zone, and for equal ends.
    """
    quiet = _Quiet(zone, quiet_from, quiet_until)
    due = as_instant(due_at, "due_at")
    floor = None if not_before is None else as_instant(not_before, "not_before")
    limit = None if not_after is None else as_instant(not_after, "not_after")
    start = due if floor is None or floor <= due else floor
    if limit is not None and start >= limit:
        late, use = _both(start, limit, zone)
        return Moved(None, f"too late at {late}: useless from {use}")
    if not quiet.holds(start):
        if start is due:
            return Moved(due_at, None)
        return Moved(start, f"{MOVED} {{}} to {{}}: not before then".format(*_both(due, start, zone)))
    end = quiet.end(start)
    if limit is None or end < limit:
        # Overnight nobody needs to be told the day; a message entered days later needs it.
        return Moved(end, f"{MOVED} {{}} to {{}}: quiet hours".format(*_both(due, end, zone, nights=1)))
    return _before_quiet(quiet, start, limit, floor)


def is_quiet(at: datetime, zone: ZoneInfo, quiet_from: time, quiet_until: time) -> bool:
    """Tell whether the aware instant `at` lies in the quiet hours of `zone`; same errors as `out_of_quiet`."""
    return _Quiet(zone, quiet_from, quiet_until).holds(as_instant(at, "at"))


def check_quiet_hours(quiet_from: time, quiet_until: time) -> None:
    """Raise ValueError where the ends are no clock times, are equal (all day or never?) or carry a zone."""
    for end in (quiet_from, quiet_until):
        if not isinstance(end, time):
            msg = f"quiet hours begin and end at clock times such as time(21, 0), not at {end!r}"
            raise ValueError(msg)
    if quiet_from.tzinfo is not None or quiet_until.tzinfo is not None:
        msg = "quiet hours are plain clock times; the zone is given apart"
        raise ValueError(msg)
    if quiet_from == quiet_until:
        msg = f"quiet hours cannot begin and end at the same time ({quiet_from:%H:%M}): choose two different times"
        raise ValueError(msg)


def _before_quiet(quiet: "_Quiet", start: datetime, limit: datetime, floor: datetime | None) -> Moved:
    early = quiet.begin(start) - EARLY
    moment, use = _shown(start, quiet.zone), _shown(limit, quiet.zone)
    if (floor is not None and early < floor) or quiet.holds(early):
        return Moved(None, f"{moment} is in quiet hours and nothing is left before {use}, when it is useless")
    return Moved(early, f"{MOVED} {moment} to {_shown(early, quiet.zone)}: quiet hours, useless from {use}")


def _shown(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%H:%M}"


def _both(one: datetime, other: datetime, zone: ZoneInfo, *, nights: int = 0) -> tuple[str, str]:
    """Return two readings of the clock, with their days where more than `nights` lie between them."""
    walls = one.astimezone(zone), other.astimezone(zone)
    if abs((walls[1].date() - walls[0].date()).days) <= nights:
        return f"{walls[0]:%H:%M}", f"{walls[1]:%H:%M}"
    first, last = (f"{wall:%a} {wall.day} {wall:%b %H:%M}" for wall in walls)
    return first, last


class _Quiet:
    """The quiet hours as a set of readings of the wall clock.

    In an hour that happens twice the second reading of a quiet minute is as quiet as the first, so that nobody
    is woken because clocks were changed.
    """

    def __init__(self, zone: ZoneInfo, quiet_from: time, quiet_until: time) -> None:
        check_quiet_hours(quiet_from, quiet_until)
        self.zone = require_zone(zone)
        self._from = quiet_from
        self._until = quiet_until

    def holds(self, at: datetime) -> bool:
        clock = at.astimezone(self.zone).time()
        if self._from < self._until:
            return self._from <= clock < self._until
        return clock >= self._from or clock < self._until

    def end(self, at: datetime) -> datetime:
        """Return the first instant from `at` on that is not quiet."""
        while self.holds(at):
            step = at + _clock_distance(at.astimezone(self.zone).time(), self._until)
            at = step if self._same_offset(at, step) else change_between(at, step, self.zone)
        return at

    def begin(self, at: datetime) -> datetime:
        """Return the first instant of the unbroken quiet stretch that holds `at`."""
        while True:
            step = at - _clock_distance(self._from, at.astimezone(self.zone).time())
            at = step if self._same_offset(step, at) else change_between(step, at, self.zone)
            if not self.holds(at - _TICK):
                return at
            at -= _TICK

    def _same_offset(self, one: datetime, other: datetime) -> bool:
        return one.astimezone(self.zone).utcoffset() == other.astimezone(self.zone).utcoffset()


def _clock_distance(earlier: time, later: time) -> timedelta:
    """Return how far the hands go from one reading to the next time they show the other, at most a day."""
    day = datetime(2000, 1, 1, tzinfo=UTC)
    gap = datetime.combine(day, later, UTC) - datetime.combine(day, earlier, UTC)
    return gap % timedelta(days=1)
