"""The one place with SQL of its own: settles one message and takes the next in a single statement and commit.

Written by hand because this is what bounds the rate at nine o'clock: the two marks of every message (being sent, sent)
would be two commits, and the last look a query more. PostgreSQL and SQLite (3.35 and newer) understand it alike.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import Field

from clinic.models import Patient, Visit
from reminders.models import Message
from reminders.services.addresses import Route
from reminders.services.queueing import LEASE
from taping.models import Application

_TABLE = Message._meta.db_table
_LOOKS = (("patient_id", Patient), ("application_id", Application), ("visit_id", Visit))


@dataclass(frozen=True, slots=True)
class Sent:
    """A message the other side has accepted: its row, the rows it spoke for, the stored text, the gateway's id."""

    ids: Sequence[int]
    text: str
    gateway_id: str


@dataclass(frozen=True, slots=True)
class Taken:
    """A message about to be handed over: lead first, then the rows it speaks for, as they were read."""

    rows: Sequence[Message]
    route: Route
    now: datetime


def mark(token: UUID, *, sent: Sent | None, taken: Taken | None) -> bool:
    """Mark sent as sent and taken as being sent; returns whether every row of taken could be marked.

    A row is taken only while it is claimed under token and nothing it depends on has changed since it was read:
    that is the last look. Where one of several could not be taken the others are left being sent; give them back.
    """
    if sent is None and taken is None:
        return True
    sql = _Statement(token)
    if sent is not None:
        sql.settle(sent)
    if taken is not None:
        sql.take(taken)
    with connection.cursor() as cursor:
        cursor.execute(sql.text(), sql.values())
        marked = {row[0] for row in cursor.fetchall()}
    return taken is None or marked >= {row.pk for row in taken.rows}


class _Statement:
    """UPDATE ... SET column = CASE ... END WHERE ... RETURNING id, put together from what is to be marked."""

    def __init__(self, token: UUID) -> None:
        self._token = _value("token", token)
        self._cases: dict[str, list[tuple[str, list[Any]]]] = {}
        self._where: list[tuple[str, list[Any]]] = []

    def settle(self, sent: Sent) -> None:
        marks, ids = _marks(sent.ids)
        when = f"WHEN id IN ({marks}) THEN "
        self._case("state", f"{when}'sent'", ids)
        self._case("text", f"{when}%s", [*ids, sent.text])
        self._case("gateway_id", f"{when}%s", [*ids, sent.gateway_id[:120]])
        self._case("why", f"{when}''", ids)
        self._case("token", f"{when}NULL", ids)
        self._case("lease_until", f"{when}NULL", ids)
        # A lease that ran out while the other side was slow made the row uncertain; now it is known.
        self._where.append(
            (f"(id IN ({marks}) AND token = %s AND state IN ('sending', 'uncertain'))", [*ids, self._token])
        )

    def take(self, taken: Taken) -> None:
        marks, ids = _marks([row.pk for row in taken.rows])
        when = f"WHEN id IN ({marks}) THEN "
        for column, value in (
            ("state", "sending"),
            ("channel", taken.route.channel),
            ("address", taken.route.address),
            ("lease_until", _value("lease_until", taken.now + LEASE)),
            ("settled_at", _value("settled_at", taken.now)),
            ("claims", 0),
        ):
            self._case(column, f"{when}%s", [*ids, value])
        lead = taken.rows[0].pk
        self._case("attempts", "WHEN id = %s THEN attempts + 1", [lead])
        if ids[1:]:
            rest, others = _marks(ids[1:])
            self._case("joined_to_id", f"WHEN id IN ({rest}) THEN %s", [*others, lead])
        for row in taken.rows:
            self._where.append(self._unchanged(row, taken.now))

    def _unchanged(self, row: Message, now: datetime) -> tuple[str, list[Any]]:
        text = "id = %s AND token = %s AND state = 'claimed' AND expires_at > %s"
        values = [row.pk, self._token, _value("expires_at", now)]
        for column, model in _LOOKS:
            subject = getattr(row, column.removesuffix("_id"))
            if subject is not None:
                table = model._meta.db_table
                text += f" AND EXISTS (SELECT 1 FROM {table} WHERE id = %s AND plan_version = %s)"  # noqa: S608
                values += [subject.pk, subject.plan_version]
        return f"({text})", values

    def _case(self, column: str, text: str, values: Sequence[Any]) -> None:
        self._cases.setdefault(column, []).append((text, list(values)))

    def text(self) -> str:
        sets = ", ".join(
            f"{column} = CASE {' '.join(text for text, _ in cases)} ELSE {column} END"
            for column, cases in self._cases.items()
        )
        where = " OR ".join(text for text, _ in self._where)
        return f"UPDATE {_TABLE} SET {sets} WHERE {where} RETURNING id"  # noqa: S608  # no value is put in as text

    def values(self) -> list[Any]:
        cases = [value for cases in self._cases.values() for _, values in cases for value in values]
        return cases + [value for _, values in self._where for value in values]


def _marks(ids: Sequence[int]) -> tuple[str, list[int]]:
    return ", ".join(["%s"] * len(ids)), list(ids)


def _value(column: str, value: object) -> Any:
    field = Message._meta.get_field(column)
    if not isinstance(field, Field):  # a relation back to the row has no column
        raise TypeError(column)
    return field.get_db_prep_value(value, connection, prepared=False)
