"""A clock that moves by ticks, and the engine's own pass at each of them."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import Any

from django.db import connection
from django.db.models import Min, Q

from clinic.models import Clinic, Patient, Visit
from clinic.models.planned import PlannedSubject
from clinic.rules.local_time import at_clock, day_starts
from clinic.selectors import clinic_get, hours_of
from reminders.models import Message
from reminders.rehearsal.ways import Crash, Ways
from reminders.services.call_tick import CLOSING_UNKNOWN
from reminders.services.reconciling import STALE
from reminders.services.running import run_due
from taping.models import Application, StripPlan

NO_LIMIT = float("inf")
_DAY = timedelta(days=1)
_OPEN = (Message.State.CLAIMED, Message.State.SENDING)


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
    _coming: list[Happening] = field(default_factory=list)

    def run(self, happenings: Iterable[Happening]) -> None:
        """Happenings of one instant come in the order given; those after the last moment never come."""
        self._coming = sorted(happenings, key=lambda one: one.at)
        number = 0
        while (now := self.course.starts_at + number * self.course.tick) <= self.course.ends_at:
            self._happen(now)
            ended = self._outage_ends(now)
            again = ended is None and not self._tick(now)
            number = number + 1 if again or not self.skip else self._next(number, now, ended)
        self._happen(self.course.ends_at)

    def _happen(self, until: datetime) -> None:
        while self._coming and self._coming[0].at <= until:
            happening = self._coming.pop(0)
            happening.do(happening.at)

    def _outage_ends(self, now: datetime) -> datetime | None:
        return max((ends for begins, ends in self.course.outages if begins <= now < ends), default=None)

    def _tick(self, now: datetime) -> bool:
        """One pass of the engine; False where it left something that does not wait for a later time."""
        self.ways.dead = False
        try:
            with connection.execute_wrapper(_Grave(self.ways)):
                report = run_due(lambda: now, transports=self.ways.transports, limit_seconds=NO_LIMIT)
        except Crash:
            return False
        return report.drained and not _is_stale()

    def _next(self, number: int, now: datetime, outage_ends: datetime | None) -> int:
        """The number of the first tick after this one at which something may change."""
        moments = [outage_ends] if outage_ends else [*_moments(now), *(one.at for one in self._coming[:1])]
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


def _is_stale() -> bool:
    subjects: tuple[type[PlannedSubject], ...] = (Clinic, Patient, Visit, Application)
    return any(subject._default_manager.filter(STALE).exists() for subject in subjects)


def _moments(now: datetime) -> Iterator[datetime]:
    """When the engine may next have something to do, whatever its reason: rows, leases, and the call list's clock."""
    planned = Message.objects.filter(state=Message.State.PLANNED).aggregate(at=Min("wake_at"))["at"]
    uncertain = Q(state=Message.State.UNCERTAIN)
    others = Message.objects.aggregate(
        again=Min("wake_at", filter=uncertain & Q(wake_at__gt=now)),
        late=Min("expires_at", filter=uncertain & Q(expires_at__gt=now)),
        lease=Min("lease_until", filter=Q(state__in=_OPEN)),
    )
    yield from (at for at in (planned, *others.values()) if at is not None)
    clinic = clinic_get()
    today = now.astimezone(clinic.zone).date()
    yield day_starts(today + _DAY, clinic.zone)
    if StripPlan.objects.filter(closed_at=None, application=None).exists():
        closing: time = max((closes for _, closes in hours_of(None).get(today.weekday(), [])), default=CLOSING_UNKNOWN)
        closes_at = at_clock(today, closing, clinic.zone)
        if closes_at > now:
            yield closes_at
