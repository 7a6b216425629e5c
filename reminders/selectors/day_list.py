"""Who comes on a day, and whose tape comes off: what the list on paper holds."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import F, Prefetch

from clinic.models import Helper, Patient, User, Visit
from clinic.selectors import day_range, recipient_of, visits_between
from taping.models import Application
from taping.rules.clock import local_date


@dataclass(frozen=True, slots=True)
class DayVisit:
    """A visit, whom to ask for on the telephone, and the tape that comes off at it."""

    visit: Visit
    ask_for: Patient | Helper
    tapes: tuple[Application, ...]


@dataclass(frozen=True, slots=True)
class DayTape:
    """Tape that comes off that day, or should have before, without a visit for it; and whom to ask for."""

    tape: Application
    ask_for: Patient | Helper
    late: bool


@dataclass(frozen=True, slots=True)
class DayList:
    """A day of the whole clinic, or of one therapist, in the order of the clock."""

    day: date
    therapist: User | None
    visits: tuple[DayVisit, ...]
    tapes: tuple[DayTape, ...]


def day_list(day: date, *, zone: ZoneInfo, now: datetime, therapist: User | None = None) -> DayList:
    """Visits that stand, and tape on the skin that comes off that day. Five queries, however many of either.

    now: aware; on the clinic's today tape that is overdue is listed too. A therapist's list has their own visits and
    the tape they put on.
    """
    visits, tapes = _visits(day, zone), Application.objects.filter(ended_at=None)
    tapes = tapes.filter(removal_day__lte=day) if day == local_date(now, zone) else tapes.filter(removal_day=day)
    if therapist is not None:
        visits = [visit for visit in visits if visit.therapist_id == therapist.pk]
        tapes = tapes.filter(therapist=therapist)
    at_a_visit = {tape.pk for visit in visits for tape in visit.removes.all()}
    worn = (
        tapes.select_related("patient", "helper", "removal_visit")
        .prefetch_related("patient__helpers")
        .order_by("removal_day", F("removal_visit__starts_at").asc(nulls_last=True), "id")
    )
    return DayList(
        day,
        therapist,
        tuple(DayVisit(one, recipient_of(one.patient), tuple(one.removes.all())) for one in visits),
        tuple(
            DayTape(one, recipient_of(one.patient), one.removal_day < day) for one in worn if one.pk not in at_a_visit
        ),
    )


def _visits(day: date, zone: ZoneInfo) -> Sequence[Visit]:
    worn = Application.objects.filter(ended_at=None).order_by("id")
    return list(
        visits_between(*day_range(day, zone))
        .exclude(state=Visit.State.CANCELLED)
        .prefetch_related("patient__helpers", Prefetch("removes", worn))
        .order_by("starts_at", "therapist__full_name", "id")
    )
