"""Claimed messages as the quick path reads them: the columns that decide, in one query, without a model's weight.

A batch is looked at, and mostly sent, from these. They carry the names of the models' own fields, so that the last
look reads either. Words are made from the models themselves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from clinic.models import Visit
from clinic.models.people import Channel
from reminders.rules.joining import WITHIN
from reminders.services.statements import moment, rows_of


@dataclass(frozen=True, slots=True)
class DueRecipient:
    """Who gets a message: the patient or the helper."""

    call_me: str
    phone: str
    email: str
    prefers: str


@dataclass(slots=True)
class DuePatient:
    pk: int
    consents: bool
    time_zone: str
    plan_version: int
    recipient: DueRecipient


@dataclass(slots=True)
class DueTape:
    """ended_at says whether it is off; what it holds is not looked into."""

    pk: int
    ended_at: object
    plan_version: int
    planned_version: int


@dataclass(slots=True)
class DueVisit:
    pk: int
    state: str
    starts_at: datetime
    plan_version: int
    planned_version: int

    def get_state_display(self) -> str:
        return str(Visit.State(self.state).label)


@dataclass(slots=True)
class DueMessage:
    """One message with what it depends on, as it was read.

    has_near: another planned row of the same patient and kind may be said with it. refused_channels: those on which
    the recipient's address was refused for good.
    """

    pk: int
    patient_id: int
    application_id: int | None
    visit_id: int | None
    subject: str
    kind: str
    ordinal: int
    safety: bool
    planned_for: datetime
    wake_at: datetime
    expires_at: datetime
    why: str
    claims: int
    attempts: int
    repeats: int
    refused_on: str
    channel: str
    address: str
    key: UUID
    patient: DuePatient
    application: DueTape | None
    visit: DueVisit | None
    has_near: bool
    refused_channels: tuple[str, ...]


_MESSAGE = (
    "id", "patient_id", "application_id", "visit_id", "subject", "kind", "ordinal", "safety", "planned_for", "wake_at",
    "expires_at", "why", "claims", "attempts", "repeats", "refused_on", "channel", "address", "key",
)  # fmt: skip
_REST = (
    "p.consents", "p.time_zone", "p.plan_version", "p.call_me", "p.phone", "p.email", "p.prefers", "h.call_me",
    "h.phone", "h.email", "h.prefers", "a.ended_at", "a.plan_version", "a.planned_version", "v.state", "v.starts_at",
    "v.plan_version", "v.planned_version",
)  # fmt: skip
_REFUSED = """EXISTS (SELECT 1 FROM reminders_refusedaddress r WHERE r.channel = '{channel}'
        AND r.address = COALESCE(h.{field}, p.{field}))"""
_SELECT = f"""
    SELECT {", ".join(f"m.{name}" for name in _MESSAGE)}, {", ".join(_REST)},
        {_REFUSED.format(channel="sms", field="phone")}, {_REFUSED.format(channel="email", field="email")},
        EXISTS (SELECT 1 FROM reminders_message n WHERE n.patient_id = m.patient_id AND n.kind = m.kind
            AND n.state = 'planned' AND n.wake_at < %(soon)s AND n.expires_at > %(now)s)
    FROM reminders_message m
    JOIN clinic_patient p ON p.id = m.patient_id
    LEFT JOIN clinic_helper h ON h.patient_id = p.id AND h.gets_messages
    LEFT JOIN taping_application a ON a.id = m.application_id
    LEFT JOIN clinic_visit v ON v.id = m.visit_id
    WHERE m.id IN (%(ids)s)
"""  # noqa: S608  # only names of columns are put in


def due_rows(ids: Sequence[int], now: datetime) -> list[DueMessage]:
    """The messages of these ids, in their order, in one query; ones that are gone are left out. now: aware."""
    if not ids:
        return []
    values = {"ids": list(ids), "now": now, "soon": now + WITHIN}
    found = {row[0]: _made(row) for row in rows_of(_SELECT, values)}
    return [found[pk] for pk in ids if pk in found]


def _made(row: Sequence[Any]) -> DueMessage:
    (
        pk, patient_id, tape_id, visit_id, subject, kind, ordinal, safety, planned_for, wake_at, expires_at, why,
        claims, attempts, repeats, refused_on, channel, address, key, consents, time_zone, version, call_me, phone,
        email, prefers, helper_call_me, helper_phone, helper_email, helper_prefers, ended_at, tape_version,
        tape_planned, visit_state, starts_at, visit_version, visit_planned,
        sms_refused, email_refused, has_near,
    ) = row  # fmt: skip
    recipient = (
        DueRecipient(call_me, phone, email, prefers)
        if helper_phone is None
        else DueRecipient(helper_call_me, helper_phone, helper_email, helper_prefers)
    )
    refused = [Channel.SMS.value] if sms_refused else []
    return DueMessage(
        pk, patient_id, tape_id, visit_id, subject, kind, ordinal, bool(safety), moment(planned_for), moment(wake_at),
        moment(expires_at), why, claims, attempts, repeats, refused_on, channel, address,
        key if isinstance(key, UUID) else UUID(key),
        DuePatient(patient_id, bool(consents), time_zone, version, recipient),
        None if tape_id is None else DueTape(tape_id, ended_at, tape_version, tape_planned),
        None if visit_id is None else DueVisit(visit_id, visit_state, moment(starts_at), visit_version, visit_planned),
        bool(has_near),
        (*refused, Channel.EMAIL.value) if email_refused else tuple(refused),
    )  # fmt: skip
