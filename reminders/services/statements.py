"""Runs the few statements that are written by hand, on either database, as cheaply as its driver can.

They are those of the nine o'clock rush: claiming, reading and marking. The ORM would put each of them together anew,
and its cursors cost as much again as the server's own work. Values are always parameters, written %(name)s.
"""

import hashlib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

Values = Mapping[str, Any]
_IDS = re.compile(r"IN \(%\((\w*ids)\)s\)")


def rows_of(text: str, values: Values) -> list[tuple[Any, ...]]:
    """The rows that the statement gives. A list of ids is written IN (%(ids)s). Raises Django's database errors."""
    held = connections[DEFAULT_DB_ALIAS]
    text, values = _for(held.vendor, text), _adapted(held, values)
    if _is_watched(held):
        with held.cursor() as cursor:
            cursor.execute(text, values)
            return list(cursor.fetchall())
    held.ensure_connection()
    with held.wrap_database_errors:
        if held.vendor == "sqlite":
            return list(held.connection.execute(_named(text), values))
        found: list[tuple[Any, ...]] = _cursor(held.connection).execute(text, values, binary=True).fetchall()
        return found


def ids_marked(text: str, values: Values, *, relaxed: str = "") -> set[int]:
    """The ids that an UPDATE ... RETURNING id gives. relaxed: what PostgreSQL is to return besides (see marks)."""
    held = connections[DEFAULT_DB_ALIAS]
    if _is_watched(held) or held.vendor == "sqlite":
        return {row[0] for row in rows_of(text, values)}
    held.ensure_connection()
    with held.wrap_database_errors:
        return _marked(held.connection, text + relaxed, values)


def moment(value: datetime | str) -> datetime:
    """A moment as a row holds it, aware UTC: SQLite keeps it without a zone, sometimes as text."""
    if isinstance(value, str):
        value = datetime.fromisoformat(value)
    return value if value.tzinfo is not None else value.replace(tzinfo=UTC)


def _is_watched(held: BaseDatabaseWrapper) -> bool:
    """Whether somebody counts or intercepts statements, or a transaction is open that they are to be part of."""
    return bool(held.execute_wrappers or held.queries_logged or held.in_atomic_block)


def _adapted(held: BaseDatabaseWrapper, values: Values) -> Values:
    if held.vendor != "sqlite":
        return values
    written = dict(values)
    for name, value in values.items():
        write = _TO_SQLITE.get(type(value))
        if write is not None:
            written[name] = write(value)
    return written


_TO_SQLITE: Mapping[type, Callable[[Any], str]] = {
    datetime: lambda value: value.astimezone(UTC).replace(tzinfo=None).isoformat(" "),
    UUID: lambda value: value.hex,
    list: json.dumps,
}


@lru_cache(maxsize=256)
def _for(vendor: str, text: str) -> str:
    """One parameter for a whole list, so that the text, and with it what is kept prepared, is always the same."""
    if vendor == "sqlite":
        return _IDS.sub(r"IN (SELECT value FROM json_each(%(\1)s))", text)
    return _IDS.sub(r"= ANY(%(\1)s)", text)


@lru_cache(maxsize=256)
def _named(text: str) -> str:
    return text.replace("%(", ":").replace(")s", "")


def _cursor(driver: Any) -> Any:
    from psycopg import Cursor  # only where PostgreSQL is

    # The ORM's own cursors bind values by themselves and prepare nothing, whatever this says.
    driver.prepare_threshold = 0
    return Cursor(driver)


def _marked(driver: Any, text: str, values: Values) -> set[int]:
    """Below the driver's cursors: a mark is made for each message."""
    from psycopg.pq import ExecStatus

    name, query, order = _numbered(text)
    known: set[bytes] = driver.__dict__.setdefault("_marks_prepared", set())
    if name not in known:
        made = driver.pgconn.prepare(name, query)
        if made.status != ExecStatus.COMMAND_OK:
            raise _fault(driver, made)
        known.add(name)
    found = driver.pgconn.exec_prepared(name, [_written(values[one]) for one in order])
    if found.status != ExecStatus.TUPLES_OK:
        raise _fault(driver, found)
    return {int(found.get_value(row, 0)) for row in range(found.ntuples)}


def _fault(driver: Any, result: Any) -> Exception:
    """What went wrong. A line that broke has no SQLSTATE, and the driver would call it any error of the database:

    then the row would be held to blame, and what went would not be kept to be marked later.
    """
    from psycopg import OperationalError, errors
    from psycopg.pq import ConnStatus

    if driver.pgconn.status != ConnStatus.OK:
        return OperationalError(f"the line to the database broke: {driver.pgconn.get_error_message()}")
    return errors.error_from_result(result)


def _written(value: object) -> bytes:
    return (value.isoformat() if isinstance(value, datetime) else str(value)).encode()


@lru_cache(maxsize=256)
def _numbered(text: str) -> tuple[bytes, bytes, Sequence[str]]:
    """A name for the statement, its text with numbered parameters, and which value each of them is."""
    order = tuple(dict.fromkeys(re.findall(r"%\((\w+)\)s", text)))
    for number, name in enumerate(order, start=1):
        text = text.replace(f"%({name})s", f"${number}")
    return f"mark_{hashlib.sha256(text.encode()).hexdigest()[:16]}".encode(), text.encode(), order
