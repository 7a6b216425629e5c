"""What stands in the diary, and what is free in it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q

from clinic.models import Closure, OpeningHours, Patient, User, Visit
from clinic.models.visits import TAKES_TIME
from clinic.rules.slots import FreeTime, free_stretches, free_times
from clinic.selectors import day_range, hours_of, visits_between, visits_overlapping
from clinic.signals import wear_window_wanted

SHORT_VISIT_MINUTES = 30
DAYS_OFFERED = 7

Hours = Mapping[int, Sequence[tuple[time, time]]]


@dataclass(frozen=True, slots=True)
class Window:
    """A wear window, first and last day included; applied is the day the tape went on, where it is known.

    removal_to_book: the clinic takes the tape off, and the visit for that is still to be booked.
    """

    first: date
    last: date
    applied: date | None = None
    removal_to_book: bool = False

    def days(self) -> set[date]:
        return {self.first + timedelta(days=offset) for offset in range((self.last - self.first).days + 1)}

    def mark(self, day: date) -> str:
        """What to say of day: "day 4 of the wear window", or nothing outside it."""
        if not self.first <= day <= self.last:
            return ""
        return f"day {(day - self.applied).days} of the wear window" if self.applied else "inside the wear window"


@dataclass(frozen=True, slots=True)
class Wish:
    """Whose time is looked for, of what length; leave_out is a visit that is to move, so that it may overlap itself.

    stands_at: when that visit stands with this therapist, which is no other time.
    """

    therapist: User
    length_minutes: int
    leave_out: int | None = None
    stands_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Openings:
    """When somebody works: clock times by weekday, and the dates on which they do not, each with its reason."""

    hours: Hours
    closures: Mapping[date, str]

    def why_closed(self, day: date) -> str:
        if day in self.closures:
            return f"closed: {self.closures[day]}" if self.closures[day] else "closed"
        return "" if day.weekday() in self.hours else "no opening hours on this weekday"

    def why_unusual(self, starts_at: datetime, ends_at: datetime, zone: ZoneInfo) -> str:
        """Why a visit at that time is out of the ordinary, or nothing where it lies in the opening hours."""
        start, end = starts_at.astimezone(zone), ends_at.astimezone(zone)
        day = start.date()
        closed = self.why_closed(day)
        if closed:
            return closed
        for opens, closes in self.hours[day.weekday()]:
            # an end of 00:00 is the end of the day
            until = datetime.combine(day if closes > time.min else day + timedelta(days=1), closes)
            if datetime.combine(day, opens) <= start.replace(tzinfo=None) and end.replace(tzinfo=None) <= until:
                return ""
        return "outside the opening hours"


@dataclass(frozen=True, slots=True)
class BookableDay:
    """A day of one therapist: its free times, or the reason why there is none; mark says where the window lies."""

    day: date
    times: tuple[FreeTime, ...]
    why_none: str
    mark: str = ""


@dataclass(frozen=True, slots=True)
class DiaryDay:
    """A day as the diary shows it: its visits in order, the cancelled ones apart, and why it is closed, if it is.

    free: what of the therapist's hours nobody has taken, from now on; only where that was asked for.
    """

    day: date
    therapist: User | None
    visits: tuple[Visit, ...]
    cancelled: tuple[Visit, ...]
    closed: str
    free: tuple[FreeTime, ...] = ()


def window_of(patient: Patient) -> Window | None:
    """The wear window of the tape that is on, as whoever knows of tapes answers; None where none is on."""
    answers = (answer for _, answer in wear_window_wanted.send(sender=Patient, patient=patient))
    return next((Window(*answer) for answer in answers if answer), None)


def therapist_last_seen(patient: Patient) -> int | None:
    """The number of the therapist of the patient's latest visit that was not cancelled, or None."""
    visits = Visit.objects.filter(patient=patient).exclude(state=Visit.State.CANCELLED)
    return visits.order_by("-starts_at", "-id").values_list("therapist_id", flat=True).first()


def openings_of(therapist: User, first: date, last: date) -> Openings:
    """Hours and closures of one therapist, the clinic's own where they have none, closures in first..last."""
    rows = Closure.objects.filter(day__range=(first, last)).filter(Q(therapist=None) | Q(therapist=therapist))
    return Openings(hours_of(therapist), {row.day: row.reason for row in rows})


def offered_days(start: date, window: Window | None, *, wish: Wish, now: datetime, zone: ZoneInfo) -> list[BookableDay]:
    """The window's days and a week from start on, in order, with the free times still to come; at most four queries.

    start: today or later. Window days that are past are left out: nothing can be booked on them.
    """
    today = now.astimezone(zone).date()
    days = {start + timedelta(days=offset) for offset in range(DAYS_OFFERED)}
    if window:
        days |= {day for day in window.days() if day >= today}
    first, last = min(days), max(days)
    openings = openings_of(wish.therapist, first, last)
    found = free_times(
        first,
        last,
        hours=openings.hours,
        closures=openings.closures.keys(),
        busy=_busy(first, last, wish, zone),
        length_minutes=wish.length_minutes,
        step_minutes=15 if wish.length_minutes < SHORT_VISIT_MINUTES else 30,
        zone=zone,
    )
    free = _by_day((one for one in found if one.starts_at > now and one.starts_at != wish.stands_at), zone)
    return [
        BookableDay(
            day,
            free.get(day, ()),
            openings.why_closed(day) or ("nothing is free any more" if day == today else "everything is taken"),
            window.mark(day) if window else "",
        )
        for day in sorted(days)
    ]


def _busy(first: date, last: date, wish: Wish, zone: ZoneInfo) -> list[tuple[datetime, datetime]]:
    start, end = day_range(first, zone)[0], day_range(last, zone)[1]
    taken = visits_overlapping(wish.therapist, start, end)
    if wish.leave_out is not None:
        taken = taken.exclude(pk=wish.leave_out)
    return list(taken.values_list("starts_at", "ends_at"))


def _by_day(times: Iterable[FreeTime], zone: ZoneInfo) -> dict[date, tuple[FreeTime, ...]]:
    days: dict[date, list[FreeTime]] = {}
    for one in times:
        days.setdefault(one.starts_at.astimezone(zone).date(), []).append(one)
    return {day: tuple(held) for day, held in days.items()}


def diary_days(first: date, count: int, *, therapist: User | None, zone: ZoneInfo) -> list[DiaryDay]:
    """The days from first on, of one therapist or of the whole clinic; three queries, however many days and visits."""
    days = [first + timedelta(days=offset) for offset in range(count)]
    visits = _visits(days[0], days[-1], zone, [therapist] if therapist else None)
    openings = _all_openings(days[0], days[-1])
    key = therapist.pk if therapist else None
    return [_day(day, therapist, visits, _openings(openings, key), zone) for day in days]


def diary_columns(day: date, staff: Sequence[User], *, only: bool, now: datetime, zone: ZoneInfo) -> list[DiaryDay]:
    """One day, a column for each therapist, with what is free of it from now on; three queries, however many visits.

    Unless only those of staff are wanted, somebody who has left but still has visits that day keeps a column.
    """
    visits = _visits(day, day, zone, staff if only else None)
    openings = _all_openings(day, day)
    columns = {one.pk: one for one in staff} | {one.therapist_id: one.therapist for one in visits}
    found = []
    for pk, one in columns.items():
        hours, own = _openings(openings, pk), [visit for visit in visits if visit.therapist_id == pk]
        shown = _day(day, one, own, hours, zone)
        found.append(replace(shown, free=_free(shown, hours, now, zone)) if one in staff else shown)
    return found


def _free(shown: DiaryDay, openings: Openings, now: datetime, zone: ZoneInfo) -> tuple[FreeTime, ...]:
    """What can still be booked of a day's hours. A visit that began the day before counts in the database alone."""
    busy = [(visit.starts_at, visit.ends_at) for visit in shown.visits if visit.state in TAKES_TIME]
    begin = day_range(shown.day, zone)[0]
    past = [(begin, now)] if begin < now else []
    found = free_stretches(
        shown.day, hours=openings.hours, closures=openings.closures.keys(), busy=[*busy, *past], zone=zone
    )
    return tuple(found)


def _visits(first: date, last: date, zone: ZoneInfo, staff: Sequence[User] | None) -> list[Visit]:
    """Visits that begin from first to last, local days, found by their UTC instants so that the index serves."""
    found = visits_between(day_range(first, zone)[0], day_range(last, zone)[1])
    if staff is not None:
        found = found.filter(therapist__in=staff)
    return list(found.order_by("starts_at", "id"))


def _all_openings(first: date, last: date) -> dict[int | None, Openings]:
    """Hours and closures by therapist, those of the clinic under None; two queries."""
    hours: dict[int | None, dict[int, list[tuple[time, time]]]] = {None: {}}
    for row in OpeningHours.objects.all():
        hours.setdefault(row.therapist_id, {}).setdefault(row.weekday, []).append((row.opens, row.closes))
    closures: dict[int | None, dict[date, str]] = {None: {}}
    for closure in Closure.objects.filter(day__range=(first, last)):
        closures.setdefault(closure.therapist_id, {})[closure.day] = closure.reason
    keys = hours.keys() | closures.keys()
    return {key: Openings(hours.get(key, hours[None]), closures[None] | closures.get(key, {})) for key in keys}


def _openings(openings: Mapping[int | None, Openings], key: int | None) -> Openings:
    return openings.get(key, openings[None])


def _day(day: date, therapist: User | None, visits: Sequence[Visit], openings: Openings, zone: ZoneInfo) -> DiaryDay:
    held = [visit for visit in visits if visit.starts_at.astimezone(zone).date() == day]
    stands = tuple(visit for visit in held if visit.state != Visit.State.CANCELLED)
    cancelled = tuple(visit for visit in held if visit.state == Visit.State.CANCELLED)
    return DiaryDay(day, therapist, stands, cancelled, openings.why_closed(day))
