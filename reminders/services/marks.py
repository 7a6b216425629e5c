"""The mark of every message: settles one and takes the next in a single statement and commit.

Written by hand because this is what bounds the rate at nine o'clock: the two marks of every message (being sent, sent)
would be two commits, and the last look a query more. PostgreSQL and SQLite (3.35 and newer) understand it alike.

The text of the statement depends only on how many rows it marks, so it is put together once and both databases keep it
prepared. On PostgreSQL this statement, and no other, commits without waiting for the disk (synchronous_commit off). A
killed worker takes nothing with it, because the server has the mark already. Where the server itself dies, or its host,
the marks of its last half second may be gone. The claims before them are not. A row found claimed since before the
server came up is therefore uncertain, as one found being sent is: none is lost, and safety alone goes again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.db import InterfaceError, OperationalError

from clinic.models import Patient, Visit
from reminders.models import Message
from reminders.services.addresses import Route
from reminders.services.due_rows import DueMessage
from reminders.services.queueing import LEASE
from reminders.services.statements import ids_marked
from taping.models import Application

_TABLE = Message._meta.db_table
_LOOKS = tuple(
    (name, model._meta.db_table)
    for name, model in (("patient", Patient), ("application", Application), ("visit", Visit))
)
_RELAXED = ", set_config('synchronous_commit', 'off', true)"
"""Local to the statement's own transaction, and evaluated before that commits."""

Looks = tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Sent:
    """A message the other side has accepted: its row, the rows it spoke for, the stored text, the gateway's id."""

    ids: Sequence[int]
    text: str
    gateway_id: str


@dataclass(frozen=True, slots=True)
class Taken:
    """A message about to be handed over: lead first, then the rows it speaks for, as they were read."""

    rows: Sequence[Message | DueMessage]
    route: Route
    now: datetime


def mark(token: UUID, *, sent: Sent | None, taken: Taken | None) -> bool:
    """Mark sent as sent and taken as being sent; returns whether every row of taken could be marked.

    A row is taken only while it is claimed under token and nothing it depends on has changed since it was read:
    that is the last look. Where one of several could not be taken the others are left being sent; give them back.
    """
    if sent is None and taken is None:
        return True
    looks = (
        tuple([(True, row.application_id is not None, row.visit_id is not None) for row in taken.rows]) if taken else ()
    )
    text = _text(len(sent.ids) if sent else 0, looks)
    marked = ids_marked(text, _values(token, sent, taken), relaxed=_RELAXED)
    return taken is None or marked >= {row.pk for row in taken.rows}


_unmarked: list[tuple[UUID, Sent | None, tuple[int, ...]]] = []


def mark_or_keep(token: UUID, *, sent: Sent | None, taken: Taken | None) -> bool:
    """As mark, but what could not be written down is kept for mark_kept. Raises what the database raised.

    While this process lives it knows what went and what did not; only a process that died leaves that unknown.
    """
    try:
        return mark(token, sent=sent, taken=taken)
    except (OperationalError, InterfaceError):
        _unmarked.append((token, sent, tuple(row.pk for row in taken.rows) if taken else ()))
        raise


def mark_kept() -> None:
    """Write down what the database did not take before: what went is sent, what did not is planned again."""
    while _unmarked:
        token, sent, untouched = _unmarked[0]
        mark(token, sent=sent, taken=None)
        held = Message.objects.filter(pk__in=untouched, token=token, state__in=("claimed", "sending"))
        held.update(state="planned", token=None, lease_until=None, settled_at=None, joined_to=None)
        _unmarked.pop(0)


def _values(token: UUID, sent: Sent | None, taken: Taken | None) -> dict[str, Any]:
    values: dict[str, Any] = {"token": token}
    if sent is not None:
        values["text"], values["gateway_id"] = sent.text, sent.gateway_id[:120]
        for number, pk in enumerate(sent.ids):
            values[f"sent_{number}"] = pk
    if taken is None:
        return values
    values["channel"], values["address"] = str(taken.route.channel), taken.route.address
    values["now"], values["lease"] = taken.now, taken.now + LEASE
    for number, row in enumerate(taken.rows):
        values[f"row_{number}"] = row.pk
        values[f"patient_{number}"] = row.patient_id
        values[f"patient_version_{number}"] = row.patient.plan_version
        if row.application is not None:
            values[f"application_{number}"] = row.application_id
            values[f"application_version_{number}"] = row.application.plan_version
        if row.visit is not None:
            values[f"visit_{number}"] = row.visit_id
            values[f"visit_version_{number}"] = row.visit.plan_version
    return values


@lru_cache(maxsize=256)
def _text(sent: int, looks: tuple[Looks, ...]) -> str:
    """UPDATE ... SET column = CASE ... END WHERE ... RETURNING id, for so many rows sent and such rows to take."""
    cases: dict[str, list[str]] = {}
    where: list[str] = []
    if sent:
        rows = f"id IN ({_names('sent', range(sent))})"
        for column, value in (("state", "'sent'"), ("text", "%(text)s"), ("gateway_id", "%(gateway_id)s"),
                              ("why", "''"), ("token", "NULL"), ("lease_until", "NULL")):  # fmt: skip
            cases.setdefault(column, []).append(f"WHEN {rows} THEN {value}")
        # A lease that ran out while the other side was slow made the row uncertain; now it is known. Claimed: a server
        # that died meanwhile has forgotten that it was being sent.
        where.append(f"({rows} AND token = %(token)s AND state IN ('claimed', 'sending', 'uncertain'))")
    if looks:
        rows = f"id IN ({_names('row', range(len(looks)))})"
        for column, value in (("state", "'sending'"), ("channel", "%(channel)s"), ("address", "%(address)s"),
                              ("lease_until", "%(lease)s"), ("settled_at", "%(now)s"), ("claims", "0")):  # fmt: skip
            cases.setdefault(column, []).append(f"WHEN {rows} THEN {value}")
        cases["attempts"] = ["WHEN id = %(row_0)s THEN attempts + 1"]
        if len(looks) > 1:
            cases["joined_to_id"] = [f"WHEN id IN ({_names('row', range(1, len(looks)))}) THEN %(row_0)s"]
        where += [_unchanged(number, look) for number, look in enumerate(looks)]
    sets = ", ".join(f"{column} = CASE {' '.join(parts)} ELSE {column} END" for column, parts in cases.items())
    return f"UPDATE {_TABLE} SET {sets} WHERE {' OR '.join(where)} RETURNING id"  # noqa: S608  # only names are put in


def _names(name: str, numbers: range) -> str:
    return ", ".join(f"%({name}_{number})s" for number in numbers)


def _unchanged(number: int, looks: Looks) -> str:
    text = f"id = %(row_{number})s AND token = %(token)s AND state = 'claimed' AND expires_at > %(now)s"
    for (name, table), looked in zip(_LOOKS, looks, strict=True):
        if looked:
            text += (
                f" AND EXISTS (SELECT 1 FROM {table} WHERE id = %({name}_{number})s"  # noqa: S608  # only names
                f" AND plan_version = %({name}_version_{number})s)"
            )
    return f"({text})"
