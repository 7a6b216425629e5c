"""Puts very many rows into a database: by COPY on PostgreSQL, by executemany on SQLite."""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any

from django.core.management.color import no_style
from django.db import connection, models, transaction

_AT_ONCE = 5_000


def rows_put(prototype: models.Model, names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert rows: each holds the values of names (a field's name in the table's rows, "id" and "patient_id" too).

    Every other column gets what prototype has in it, an unsaved row of the model. Foreign keys are not looked up on
    PostgreSQL, where the user may leave that out.
    """
    fields = [field for field in prototype._meta.concrete_fields if field.attname != "id" or "id" in names]
    place = {name: number for number, name in enumerate(names)}
    unknown = place.keys() - {field.attname for field in fields}
    if unknown:
        raise LookupError(f"{prototype._meta.model_name} has no {', '.join(sorted(unknown))}")
    parts = [_part(field, place.get(field.attname), getattr(prototype, field.attname)) for field in fields]
    ready = (tuple(value if take is None else take(row) for take, value in parts) for row in rows)
    table, columns = prototype._meta.db_table, ", ".join(f'"{field.column}"' for field in fields)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor, cursor.copy(f'COPY "{table}" ({columns}) FROM STDIN') as copy:
            for row in ready:
                copy.write_row(row)
        return
    marks = ", ".join(["%s"] * len(fields))
    with transaction.atomic(), connection.cursor() as cursor:
        while some := list(islice(ready, _AT_ONCE)):
            cursor.executemany(f'INSERT INTO "{table}" ({columns}) VALUES ({marks})', some)  # noqa: S608  # names


def _part(
    field: "models.Field[Any, Any]", place: int | None, value: Any
) -> tuple[Callable[[Sequence[Any]], Any] | None, Any]:
    """How a column's value is taken from a row, or the one it has in each row."""
    if isinstance(field, models.JSONField):
        convert: Callable[[Any], Any] | None = json.dumps
    elif connection.vendor == "postgresql":
        convert = None
    else:
        convert = lambda value: field.get_db_prep_save(value, connection)  # noqa: E731
    if place is None:
        return None, value if convert is None else convert(value)
    if convert is None:
        return (lambda row: row[place]), None
    return (lambda row: convert(row[place])), None


def numbers_go_on(*rows_of: type[models.Model]) -> None:
    """After rows with ids of their own: the next one that the database gives comes after them."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(rows_of)):
            cursor.execute(statement)


def statistics_new() -> None:
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")


@contextmanager
def without_indexes(tables: Sequence[str]) -> Iterator[None]:
    """Indexes are made anew afterwards, and keys are not looked up: a million rows take seconds instead of minutes.

    On PostgreSQL alone; SQLite makes its rows one by one either way.
    """
    if connection.vendor != "postgresql":
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT indexname, indexdef FROM pg_indexes WHERE tablename = ANY(%s) AND NOT indexdef ~ 'UNIQUE'"
            " AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conname = indexname)",
            [list(tables)],
        )
        indexes = cursor.fetchall()
        cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
        may_skip_keys = bool(cursor.fetchone()[0])
        for name, _ in indexes:
            cursor.execute(f'DROP INDEX "{name}"')
        if may_skip_keys:
            cursor.execute("SET session_replication_role = replica")
        try:
            yield
        finally:
            if may_skip_keys:
                cursor.execute("SET session_replication_role = DEFAULT")
            for _, definition in indexes:
                cursor.execute(definition)
