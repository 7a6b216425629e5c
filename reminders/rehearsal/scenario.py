"""What a scenario file says, once it is read: plain values, all times aware UTC."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

USUAL_HOURS: Mapping[int, tuple[time, time]] = {day: (time(8), time(18)) for day in range(5)}
USUAL_MINUTES = 30
USUAL_DAYS = 16
USUAL_TICK = timedelta(seconds=60)


@dataclass(frozen=True, slots=True)
class ClinicPart:
    """The rehearsed clinic. Clock times and dates are in time_zone; hours: weekday (Monday 0) to its opening hours."""

    time_zone: ZoneInfo
    quiet_from: time
    quiet_until: time
    closed_on: tuple[date, ...]
    hours: Mapping[int, tuple[time, time]]
    adhesion_wait_minutes: int
    wear_first_day: int
    wear_last_day: int
    optional_messages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PatientPart:
    ref: str
    name: str
    call_me: str
    phone: str
    email: str
    prefers: str
    consents: bool
    time_zone: str


@dataclass(frozen=True, slots=True)
class ApplicationPart:
    ref: str
    patient: str
    region: str
    side: str
    applied_at: datetime
    removal: str
    caution: bool


@dataclass(frozen=True, slots=True)
class VisitPart:
    """application: the tape this visit takes off, None for any other visit."""

    ref: str
    patient: str
    application: str | None
    starts_at: datetime
    minutes: int


@dataclass(frozen=True, slots=True)
class EventPart:
    """Something that happens at `at` (aware UTC); path is where it stands in the file."""

    at: datetime
    path: str


@dataclass(frozen=True, slots=True)
class Ended(EventPart):
    application: str
    how: str


@dataclass(frozen=True, slots=True)
class Reported(EventPart):
    application: str
    signs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AskedToCall(EventPart):
    application: str


@dataclass(frozen=True, slots=True)
class Texted(EventPart):
    patient: str
    text: str


@dataclass(frozen=True, slots=True)
class Booked(EventPart):
    visit: VisitPart


@dataclass(frozen=True, slots=True)
class Moved(EventPart):
    visit: str
    starts_at: datetime


@dataclass(frozen=True, slots=True)
class Cancelled(EventPart):
    visit: str


@dataclass(frozen=True, slots=True)
class Outage(EventPart):
    """Nothing ticks from at (included) until `until` (excluded)."""

    until: datetime


@dataclass(frozen=True, slots=True)
class Fault(EventPart):
    """The next `times` attempts on channel meet reply: an SMTP code, "timeout" or "crash"."""

    channel: str
    reply: int | str
    times: int


@dataclass(frozen=True, slots=True)
class Edited(EventPart):
    """values: names of ApplicationPart's fields to new values."""

    application: str
    values: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Scenario:
    """A whole file. starts_at and ends_at are the clock's first and last moment (both belong to it)."""

    clinic: ClinicPart
    starts_at: datetime
    ends_at: datetime
    tick: timedelta
    patients: tuple[PatientPart, ...] = ()
    applications: tuple[ApplicationPart, ...] = ()
    visits: tuple[VisitPart, ...] = ()
    events: tuple[EventPart, ...] = field(default_factory=tuple)
