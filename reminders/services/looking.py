"""The last look: may this message go now, to whom, and if not, what becomes of it."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from clinic.models import Clinic, Visit
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.rules.outbox import MessageState
from reminders.rules.quiet import is_quiet, out_of_quiet
from reminders.services.addresses import Recipient, Route, recipient_at, route_find, routes_of
from reminders.services.due_rows import DueMessage
from reminders.services.subjects import patient_zone

PLANNED_AGAIN = timedelta(seconds=1)
Due = Message | DueMessage
NO_ROUTE = "no contact route: there is no number or address that works"


@dataclass(frozen=True, slots=True)
class Go:
    """It goes, to this recipient, on this route."""

    recipient: Recipient
    route: Route


@dataclass(frozen=True, slots=True)
class Instead:
    """It does not go now: its new state, when to look again (planned rows only) and why, in words."""

    state: MessageState
    why: str
    wake_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What one batch knows beside its rows: the clinic, and addresses that refused."""

    clinic: Clinic
    refused: set[tuple[str, str]] = field(default_factory=set)


def last_look(row: Due, around: Surroundings, now: datetime) -> Go | Instead:
    """Decide on a due row with its patient, application and visit as they are now. now: aware."""
    kind = MessageKind(row.kind)
    if row.expires_at <= now:
        return Instead(MessageState.MISSED, "its time had passed before it could go")
    unwanted = _unwanted(row, kind)
    if unwanted:
        return Instead(MessageState.DROPPED, unwanted)
    if _is_stale(row):
        return Instead(MessageState.PLANNED, row.why, now + PLANNED_AGAIN)
    route = _route(row, around)
    if route is None:
        return Instead(MessageState.FAILED, NO_ROUTE)
    return _moved(row, kind, around, now) or Go(recipient_at(row.patient), route)


def _is_stale(row: Due) -> bool:
    """Whether what the row was planned from has changed: planning has the word before sending has."""
    subject = row.application or row.visit
    return subject is not None and subject.plan_version != subject.planned_version


def _unwanted(row: Due, kind: MessageKind) -> str:
    if kind.needs_consent and not row.patient.consents:
        return "no agreement to reminders"
    if row.application is not None:
        off = row.application.ended_at is not None
        if off != (kind is MessageKind.SKIN_FOLLOW_UP):
            return "the tape is off" if off else "the tape is still on"
    if row.visit is not None:
        wanted = Visit.State.CANCELLED if kind is MessageKind.VISIT_CANCELLED else Visit.State.BOOKED
        if row.visit.state != wanted:
            return f"the visit is {row.visit.get_state_display().lower()}"
    return ""


def _route(row: Due, around: Surroundings) -> Route | None:
    tried = row.refused_on.split()
    kind = MessageKind(row.kind)
    if kind.has_own_address and row.address and row.channel not in tried:
        return Route(row.channel, row.address)  # answered where the STOP came from; or the clinic's duty address
    if kind.is_for_staff:
        return None  # the patient's own addresses are no way out for it
    if (
        row.repeats
        and row.channel not in tried
        and Route(row.channel, row.address) in routes_of(recipient_at(row.patient))
    ):
        return Route(row.channel, row.address)  # only there can the same key tell that it came before
    return route_find(recipient_at(row.patient), refused=around.refused, tried=tried)


def _moved(row: Due, kind: MessageKind, around: Surroundings, now: datetime) -> Instead | None:
    """What quiet hours make of it; a row that was late, or is tried again, may have drifted into them."""
    clinic, zone = around.clinic, patient_zone(row.patient, around.clinic)
    if not kind.keeps_quiet or not is_quiet(now, zone, clinic.quiet_from, clinic.quiet_until):
        return None
    limit = row.expires_at
    if row.visit is not None:
        limit = min(limit, row.visit.starts_at)
    moved = out_of_quiet(now, zone, clinic.quiet_from, clinic.quiet_until, not_after=limit, not_before=now)
    if moved.at is None:
        return Instead(MessageState.MISSED, moved.reason or "")
    return Instead(MessageState.PLANNED, moved.reason or "", moved.at)
