"""Rows as lines of text that are the same whichever database they come from, and their digests."""

import hashlib
import json
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import islice
from typing import Any
from uuid import UUID

from django.apps.registry import Apps
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import BinaryField, Field, ForeignKey, Model

LEFT_OUT = ("axes_", "django_session", "reminders_lease")
"""Tables that begin so: log-ins under way, wrong passwords of the last hour, who runs the ticker just now."""

CHUNK = 1_000
BINARY_CHUNK = 8
"""Rows at a time; those that carry pieces of files are large."""

_READ: dict[str, Callable[[Any], Any]] = {
    "DateTimeField": datetime.fromisoformat,
    "DateField": date.fromisoformat,
    "TimeField": time.fromisoformat,
    "UUIDField": UUID,
    "BinaryField": b64decode,
}
_AS_THEY_ARE = frozenset(
    {
        "AutoField", "BigAutoField", "BigIntegerField", "BooleanField", "CharField", "EmailField", "FloatField",
        "GenericIPAddressField", "IntegerField", "JSONField", "PositiveBigIntegerField", "PositiveIntegerField",
        "PositiveSmallIntegerField", "SmallAutoField", "SmallIntegerField", "TextField", "SlugField", "URLField",
    }
)  # fmt: skip
_ADAPTED = frozenset({*_READ, "JSONField", "GenericIPAddressField"})
"""Kinds whose values each database's driver wants in a shape of its own."""


@dataclass(frozen=True, slots=True)
class Digest:
    """How many rows a table has, and SHA-256 over their lines in the order of their keys."""

    rows: int
    sha256: str


class Counter:
    """Counts and digests lines as they pass."""

    def __init__(self) -> None:
        self.rows = 0
        self._hash = hashlib.sha256()

    def add(self, line: bytes) -> None:
        self.rows += 1
        self._hash.update(line)

    @property
    def digest(self) -> Digest:
        return Digest(self.rows, self._hash.hexdigest())


def tables_of(apps: Apps) -> dict[str, type[Model]]:
    """Table name to model, parents before their children, without what is LEFT_OUT."""
    models = {
        model._meta.db_table: model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and not model._meta.db_table.startswith(LEFT_OUT)
    }
    ordered: dict[str, type[Model]] = {}

    def place(table: str, under_way: frozenset[str]) -> None:
        if table in ordered or table in under_way or table not in models:
            return
        for field in columns_of(models[table]):
            if isinstance(field, ForeignKey):
                place(field.remote_field.model._meta.db_table, under_way | {table})
        ordered[table] = models[table]

    for table in sorted(models):
        place(table, frozenset())
    return ordered


def columns_of(model: type[Model]) -> "list[Field[Any, Any]]":
    return list(model._meta.concrete_fields)


def lines_of(model: type[Model], columns: list[str], *, using: str = DEFAULT_DB_ALIAS) -> Iterator[bytes]:
    """The rows of a table as JSON lists of these columns, in the order of their keys.

    Raises TypeError for a kind of column not known here.
    """
    by_column = {field.column: field for field in columns_of(model)}
    fields = [by_column[column] for column in columns]
    for field in fields:
        _kind(field)
    chunk = BINARY_CHUNK if any(isinstance(field, BinaryField) for field in fields) else CHUNK
    rows = model._base_manager.using(using).order_by("pk").values_list(*(field.attname for field in fields))
    dump = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True, default=_written).encode
    for row in rows.iterator(chunk_size=chunk):
        yield (dump(row) + "\n").encode()


def digest_of(model: type[Model], columns: list[str], *, using: str = DEFAULT_DB_ALIAS) -> Digest:
    counter = Counter()
    for line in lines_of(model, columns, using=using):
        counter.add(line)
    return counter.digest


def rows_insert(model: type[Model], columns: list[str], lines: Iterable[bytes], *, using: str) -> None:
    """Insert lines whose values stand in the order of columns. Defaults and "now" of the models play no part."""
    connection = connections[using]
    by_column = {field.column: field for field in columns_of(model)}
    fields = [by_column[column] for column in columns]
    quote = connection.ops.quote_name
    names = ", ".join(quote(column) for column in columns)
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({names}) VALUES ({', '.join(['%s'] * len(fields))})"  # noqa: S608  # names of our own columns
    readers = [_reader(field, connection) for field in fields]
    rest = iter(lines)
    with connection.cursor() as cursor:
        while part := [_row(line, readers) for line in islice(rest, CHUNK)]:
            cursor.executemany(statement, part)


def _row(line: bytes, readers: list[Callable[[Any], Any] | None]) -> list[Any]:
    return [
        value if read is None or value is None else read(value)
        for value, read in zip(json.loads(line), readers, strict=True)
    ]


def _kind(field: "Field[Any, Any]") -> str:
    while isinstance(field, ForeignKey):
        field = field.target_field
    kind = field.get_internal_type()
    if kind not in _READ and kind not in _AS_THEY_ARE:
        raise TypeError(f"{field.model._meta.db_table}.{field.column}: a backup does not know how to write a {kind}")
    return kind


def _reader(field: "Field[Any, Any]", connection: Any) -> Callable[[Any], Any] | None:
    """What makes of a value of JSON a value for the database; None where it is one already."""
    kind = _kind(field)
    if kind not in _ADAPTED:
        return None
    read = _READ.get(kind, _same)
    return lambda value: field.get_db_prep_save(read(value), connection)


def _same(value: Any) -> Any:
    return value


def _written(value: Any) -> str:
    if isinstance(value, (datetime, date, time)):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, (bytes, memoryview)):
        return b64encode(bytes(value)).decode()
    raise TypeError(f"a backup does not know how to write a {type(value).__name__}")
