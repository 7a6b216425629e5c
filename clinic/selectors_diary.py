"""What stands in the diary, and what is free in it."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from clinic.models import Closure, User, Visit
from clinic.models.visits import TAKES_TIME
from clinic.rules.slots import FreeTime, free_times
from clinic.selectors import day_range, hours_of, visits_between

SHORT_VISIT_MINUTES = 30

Hours = dict[int, list[tuple[time, time]]]


@dataclass(frozen=True, slots=True)
class BookableDay:
    """A day of one therapist: its free times, or the reason why there is none. inside: in the wear window."""

    day: date
    times: tuple[FreeTime, ...]
    why_none: str
    inside: bool = False


@dataclass(frozen=True, slots=True)
class DiaryDay:
    """A day as the diary shows it: its visits in order, and why it is closed, where it is."""

    day: date
    visits: tuple[Visit, ...]
    closed: str


@dataclass(frozen=True, slots=True)
class Wish:
    """Whose time is looked for, of what length; leave_out is a visit that is to move, so that it may overlap itself."""

    therapist: User
    length_minutes: int
    leave_out: int | None = None


def closures_between(first: date, last: date, therapist: User | None) -> dict[date, str]:
    """Date to the reason it is closed for the clinic or this therapist, in first..last."""
    rows = Closure.objects.filter(day__range=(first, last)).filter(Q(therapist=None) | Q(therapist=therapist))
    return {row.day: row.reason for row in rows}


def bookable_days(days: Collection[date], *, wish: Wish, now: datetime, zone: ZoneInfo) -> list[BookableDay]:
    """Those local days in order with their free times that are still to come; three queries, however many days."""
    if not days:
        return []
    first, last = min(days), max(days)
    hours, closures = hours_of(wish.therapist), closures_between(first, last, wish.therapist)
    free = free_times(
        first,
        last,
        hours=hours,
        closures=closures.keys(),
        busy=_busy(first, last, wish, zone),
        length_minutes=wish.length_minutes,
        step_minutes=15 if wish.length_minutes < SHORT_VISIT_MINUTES else 30,
        zone=zone,
    )
    by_day: dict[date, list[FreeTime]] = {}
    for one in free:
        if one.starts_at > now:
            by_day.setdefault(one.starts_at.astimezone(zone).date(), []).append(one)
    today = now.astimezone(zone).date()
    return [
        BookableDay(day, tuple(by_day.get(day, ())), _why_none(day, today, hours, closures)) for day in sorted(days)
    ]


def _busy(first: date, last: date, wish: Wish, zone: ZoneInfo) -> list[tuple[datetime, datetime]]:
    start, end = day_range(first, zone)[0], day_range(last, zone)[1]
    taken = Visit.objects.filter(therapist=wish.therapist, state__in=TAKES_TIME, starts_at__lt=end, ends_at__gt=start)
    if wish.leave_out is not None:
        taken = taken.exclude(pk=wish.leave_out)
    return list(taken.values_list("starts_at", "ends_at"))


def _why_none(day: date, today: date, hours: Hours, closures: dict[date, str]) -> str:
    if day < today:
        return "already past"
    if day in closures:
        return f"closed: {closures[day]}" if closures[day] else "closed"
    if day.weekday() not in hours:
        return "no opening hours on this weekday"
    return "everything is taken"


def diary_days(first: date, count: int, *, therapist: User | None, zone: ZoneInfo) -> list[DiaryDay]:
    """The days from first on, cancelled visits left out; of one therapist, or of all. Three queries at most."""
    days = [first + timedelta(days=offset) for offset in range(count)]
    visits = visits_between(day_range(first, zone)[0], day_range(days[-1], zone)[1])
    visits = visits.exclude(state=Visit.State.CANCELLED)
    if therapist is not None:
        visits = visits.filter(therapist=therapist)
    by_day: dict[date, list[Visit]] = {}
    for visit in visits.order_by("starts_at", "id"):
        by_day.setdefault(visit.starts_at.astimezone(zone).date(), []).append(visit)
    closures, hours = closures_between(days[0], days[-1], therapist), hours_of(therapist)
    return [DiaryDay(day, tuple(by_day.get(day, ())), _closed(day, hours, closures)) for day in days]


def _closed(day: date, hours: Hours, closures: dict[date, str]) -> str:
    if day in closures:
        return f"closed: {closures[day]}" if closures[day] else "closed"
    return "" if day.weekday() in hours else "no opening hours"
