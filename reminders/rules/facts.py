"""What planning needs to know: about an application, about a visit, and how the clinic wants it."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant, require_zone
from reminders.rules.kinds import MessageKind
from reminders.rules.quiet import check_quiet_hours


class Removal(StrEnum):
    """Who takes the tape off."""

    HOME = "home"
    HELPER = "helper"
    CLINIC = "clinic"


@dataclass(frozen=True, slots=True)
class MessagePolicy:
    """The clinic's choices: quiet hours as clock times, and the optional kinds it switched on."""

    quiet_from: time = time(21, 0)
    quiet_until: time = time(8, 0)
    optional_messages: frozenset[MessageKind] = field(default_factory=frozenset)

    def __post_init__(self) -> None:
        check_quiet_hours(self.quiet_from, self.quiet_until)
        for kind in self.optional_messages:
            if not MessageKind(kind).is_optional:
                msg = f"{kind} is always sent and cannot be switched: leave it out of optional_messages"
                raise ValueError(msg)


def _to_instants(facts: object, *, needed: tuple[str, ...], others: tuple[str, ...]) -> None:
    """Put every time of the frozen `facts` into UTC; of the `others` None stays None."""
    for name in (*needed, *others):
        value = getattr(facts, name)
        if value is not None or name in needed:
            object.__setattr__(facts, name, as_instant(value, name))


def _check_zones(clinic_zone: ZoneInfo, patient_zone: ZoneInfo | None) -> None:
    require_zone(clinic_zone)
    if patient_zone is not None:
        require_zone(patient_zone)


@dataclass(frozen=True, slots=True, kw_only=True)
class ApplicationFacts:
    """One application as planning sees it.

    Datetimes are aware, `*_minutes` are elapsed minutes after `applied_at`, dates are days of `clinic_zone`.
    `saved_at` is when the application was saved; `ended_at` and `ended_how` ("off", "came_off") stay None while
    the tape is on. `remover_by` is set while it is open who takes the tape off: what says so waits until then at most.
    Raises ValueError for what cannot be: naive times, a window that closes before it opens, a
    removal day before the day of taping, an end before the beginning, negative minutes, a zone that is none.
    """

    saved_at: datetime
    applied_at: datetime
    adhesion_minutes: int
    water_minutes: int
    opens_on: date
    closes_on: date
    removal_day: date
    clinic_zone: ZoneInfo
    removal: Removal = Removal.HOME
    removal_visit_starts_at: datetime | None = None
    first_application: bool = False
    caution: bool = False
    ended_at: datetime | None = None
    ended_how: str | None = None
    patient_zone: ZoneInfo | None = None
    remover_by: datetime | None = None

    def __post_init__(self) -> None:
        others = ("removal_visit_starts_at", "ended_at", "remover_by")
        _to_instants(self, needed=("saved_at", "applied_at"), others=others)
        _check_zones(self.clinic_zone, self.patient_zone)
        if min(self.adhesion_minutes, self.water_minutes) < 0:
            msg = f"waiting times cannot be negative: {self.adhesion_minutes} and {self.water_minutes} minutes"
            raise ValueError(msg)
        if self.closes_on < self.opens_on:
            msg = f"the wear window closes on {self.closes_on}, before it opens on {self.opens_on}"
            raise ValueError(msg)
        if self.removal_day < self.applied_on:
            msg = f"the removal day {self.removal_day} lies before the day of taping {self.applied_on}"
            raise ValueError(msg)
        if self.ended_at is not None and self.ended_at < self.applied_at:
            msg = f"the tape ended at {self.ended_at}, before it went on at {self.applied_at}"
            raise ValueError(msg)

    @property
    def applied_on(self) -> date:
        """The clinic's day on which the tape went on."""
        return self.applied_at.astimezone(self.clinic_zone).date()

    @property
    def zone(self) -> ZoneInfo:
        """The zone whose clocks the patient reads."""
        return self.patient_zone or self.clinic_zone

    @property
    def adhesion_ends_at(self) -> datetime:
        """When easy movement may begin (UTC)."""
        return self.applied_at + timedelta(minutes=self.adhesion_minutes)


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitFacts:
    """One visit as planning sees it: aware datetimes; `changes` counts the moves, `changed_at` is the last one."""

    starts_at: datetime
    booked_at: datetime
    clinic_zone: ZoneInfo
    changed_at: datetime | None = None
    changes: int = 0
    cancelled_at: datetime | None = None
    patient_zone: ZoneInfo | None = None

    def __post_init__(self) -> None:
        _to_instants(self, needed=("starts_at", "booked_at"), others=("changed_at", "cancelled_at"))
        _check_zones(self.clinic_zone, self.patient_zone)
        if (self.changed_at is None) != (self.changes == 0) or self.changes < 0:
            msg = f"{self.changes} changes and changed_at {self.changed_at} contradict each other"
            raise ValueError(msg)

    @property
    def zone(self) -> ZoneInfo:
        """The zone whose clocks the patient reads."""
        return self.patient_zone or self.clinic_zone
