"""Tape as the pages show it: its state, its two waits and its days at one moment."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet

from taping.models import Application, SkinReport
from taping.rules.clock import local_date
from taping.rules.wear import WearWindow, adhesion_ends, water_ends
from taping.rules.wear_state import TapeState, WornTape, tape_state

LONGEST_WAIT = timedelta(minutes=120)
MOST_TAPES = 60
"""How many tapes one list shows; the page says how many more there are."""


@dataclass(frozen=True, slots=True)
class TapeRow:
    """One tape at one moment. The ends of the waits are aware; minutes_left of the adhesion wait is rounded up.

    day_number: calendar days since it went on; worn_days: until the day it came off, None while it is on.
    """

    application: Application
    state: TapeState
    reaction: bool
    adhesion_ends_at: datetime
    water_ends_at: datetime
    minutes_left: int
    day_number: int
    worn_days: int | None


def tape_row(application: Application, *, now: datetime, zone: ZoneInfo) -> TapeRow:
    """The tape at now (aware), with days counted in the clinic's zone. An open skin report is read from the row."""
    applied_on, ended_at = local_date(application.applied_at, zone), application.ended_at
    worn = WornTape(
        applied_at=application.applied_at,
        adhesion_minutes=application.adhesion_minutes,
        window=WearWindow(application.opens_on, application.closes_on, applied_on),
        removal_day=application.removal_day,
        ended=ended_at is not None,
    )
    ends_at = adhesion_ends(application.applied_at.astimezone(zone), application.adhesion_minutes)
    return TapeRow(
        application=application,
        state=tape_state(now, worn, zone),
        reaction=bool(getattr(application, "reaction", False)),
        adhesion_ends_at=ends_at,
        water_ends_at=water_ends(application.applied_at.astimezone(zone), application.water_minutes),
        minutes_left=max(0, math.ceil((ends_at - now) / timedelta(minutes=1))),
        day_number=(local_date(now, zone) - applied_on).days,
        worn_days=(local_date(ended_at, zone) - applied_on).days if ended_at else None,
    )


def tape_rows(applications: Iterable[Application], *, now: datetime, zone: ZoneInfo) -> list[TapeRow]:
    return [tape_row(application, now=now, zone=zone) for application in applications]


def with_reaction(applications: QuerySet[Application]) -> QuerySet[Application]:
    """Marks each row with whether a skin report about it is open, in the same query."""
    open_reports = SkinReport.objects.filter(application=OuterRef("pk"), closed_at=None)
    return applications.annotate(reaction=Exists(open_reports))


@dataclass(frozen=True, slots=True)
class TapesToday:
    """Tape on Today: waits that run, the next to end first, and what comes off, the longest overdue first.

    more: how many tapes that should come off are not listed.
    """

    setting: list[TapeRow]
    coming_off: list[TapeRow]
    more: int


def tapes_today(*, now: datetime, zone: ZoneInfo, most: int | None = MOST_TAPES) -> TapesToday:
    """Tape on the skin whose adhesion wait runs, and tape whose removal day is here or past. most: None lists all."""
    today = local_date(now, zone)
    rows = (
        with_reaction(Application.objects.filter(ended_at=None))
        .filter(Q(applied_at__gt=now - LONGEST_WAIT) | Q(removal_day__lte=today))
        .select_related("patient", "therapist", "helper", "removal_visit")
        .order_by("closes_on", "id")
    )
    found = tape_rows(rows, now=now, zone=zone)
    setting = sorted((row for row in found if row.state is TapeState.SETTING), key=lambda row: row.adhesion_ends_at)
    coming_off = [row for row in found if row.state in (TapeState.DUE, TapeState.OVERDUE)]
    listed = coming_off[:most]
    return TapesToday(setting, listed, len(coming_off) - len(listed))
