"""A clock that moves by ticks, and the engine's own pass at each of them."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Any

from django.db import connection

from clinic.rules.local_time import at_clock, day_starts
from clinic.selectors import clinic_get, hours_of
from reminders.rehearsal.ways import Crash, Ways
from reminders.services.call_conditions import closing_time
from reminders.services.glance import Place, something_stale
from reminders.services.running import RunReport, run_due
from reminders.services.statements import moment, rows_of

NO_LIMIT = float("inf")
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that comes into being at `at` (aware): do is called with that moment."""

    at: datetime
    do: Callable[[datetime], None]


@dataclass(frozen=True, slots=True)
class Course:
    """From the first tick to the last moment (both belong to it); outages are [from, until) in which nothing ticks."""

    starts_at: datetime
    ends_at: datetime
    tick: timedelta
    outages: Sequence[tuple[datetime, datetime]] = ()


@dataclass(slots=True)
class Clockwork:
    """Plays happenings, each at its own moment and before a tick of the same instant, and ticks the engine.

    Ticks at which nothing can change are passed over; skip=False makes every one of them.
    """

    course: Course
    ways: Ways
    skip: bool = True
    _coming: deque[Happening] = field(default_factory=deque)

    def run(self, happenings: Iterable[Happening]) -> None:
        """Happenings of one instant come in the order given; those after the last moment never come.

        None of them may change the clinic's zone or hours, which are read once.
        """
        self._coming = deque(sorted(happenings, key=lambda one: one.at))
        place = Place(clinic_get().zone, hours_of(None))
        number = 0
        while (now := self.course.starts_at + number * self.course.tick) <= self.course.ends_at:
            self._happen(now)
            ended = self._outage_ends(now)
            report = self._tick(now) if ended is None else None
            moments = [ended] if ended is not None else []
            if report is not None:
                moments = [*_moments(now, report, place), *(one.at for one in islice(self._coming, 1))]
            number = self._next(number, moments) if self.skip and moments else number + 1
        self._happen(self.course.ends_at)

    def _happen(self, until: datetime) -> None:
        while self._coming and self._coming[0].at <= until:
            happening = self._coming.popleft()
            happening.do(happening.at)

    def _outage_ends(self, now: datetime) -> datetime | None:
        return max((ends for begins, ends in self.course.outages if begins <= now < ends), default=None)

    def _tick(self, now: datetime) -> RunReport | None:
        """One pass of the engine; None where it left something that does not wait for a later time."""
        self.ways.dead = False
        try:
            with connection.execute_wrapper(_Grave(self.ways)):
                report = run_due(lambda: now, transports=self.ways.transports, limit_seconds=NO_LIMIT)
        except Crash:
            return None
        return report if report.drained and not something_stale() else None

    def _next(self, number: int, moments: Iterable[datetime]) -> int:
        """The number of the first tick after this one that is not before one of the moments."""
        behind = (min(moments) - self.course.starts_at) / self.course.tick
        return max(number + 1, -int(-behind // 1))


class _Grave:
    """Lets no statement through once the process is dead: what a handler would still tidy up stays as it was."""

    def __init__(self, ways: Ways) -> None:
        self._ways = ways

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: dict[str, Any]) -> Any:
        if self._ways.dead:
            raise Crash
        return execute(sql, params, many, context)


_ROWS = """
    SELECT
        (SELECT MIN(wake_at) FROM reminders_message WHERE state = 'uncertain' AND wake_at > %(now)s),
        (SELECT MIN(expires_at) FROM reminders_message WHERE state = 'uncertain' AND expires_at > %(now)s),
        (SELECT MIN(lease_until) FROM reminders_message WHERE lease_until IS NOT NULL),
        EXISTS (SELECT 1 FROM taping_stripplan p WHERE p.closed_at IS NULL
                AND NOT EXISTS (SELECT 1 FROM taping_application a WHERE a.plan_id = p.id))
"""


def _moments(now: datetime, report: RunReport, place: Place) -> Iterator[datetime]:
    """When the engine may next have something to do, whatever its reason: rows, leases, and the call list's clock."""
    if report.next_due is not None:
        yield report.next_due
    *rows, is_draft = rows_of(_ROWS, {"now": now})[0]
    yield from (moment(at) for at in rows if at is not None)
    today = now.astimezone(place.zone).date()
    yield day_starts(today + _DAY, place.zone)
    if is_draft:
        closes_at = at_clock(today, closing_time(place.hours, today), place.zone)
        if closes_at > now:
            yield closes_at
