"""What the statements that write a list are put together from."""

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from django.db import connection, models

from clinic.models import Event
from clinic.services.events import Actor
from clinic.services.import_judging import FIELDS


@contextmanager
def joining_whole() -> Iterator[None]:
    """Inside, statements join whole tables.

    Of a table just filled PostgreSQL's planner knows nothing: it would go over all patients for every line.
    """
    if connection.vendor != "postgresql":
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_nestloop = off")
        yield
        cursor.execute("SET LOCAL enable_nestloop = on")


def said(name: str) -> str:
    """The line's value of a field, as text; NULL where it says nothing."""
    if connection.vendor == "postgresql":
        return f"(line.values ->> '{name}')"
    return f"json_extract(line.\"values\", '$.{name}')"


def event_columns(actor: Actor, now: datetime, verb: str, taken: Mapping[str, str]) -> tuple[str, str, list[Any]]:
    """Columns of an event about a patient, what each is written from, and the parameters among these.

    taken: expressions of the statement, by Event's names of fields. now: aware.
    """
    row: dict[str, Any] = {
        "at": now,
        "actor": actor.user.pk if actor.user else None,
        "actor_word": actor.word,
        "verb": verb,
        "subject_type": "patient",
        "subject_id": None,
        "patient": None,
        "fields": sorted(FIELDS),
        "origin": actor.origin,
    }
    fields = [Event._meta.get_field(name) for name in row]
    values = [_given(field)(row[field.name]) for field in fields if field.name not in taken]
    columns = ", ".join(f'"{field.column}"' for field in fields)  # type: ignore[union-attr]  # these are columns
    return columns, ", ".join(taken.get(field.name, _mark(field)) for field in fields), values


def _given(field: Any) -> Callable[[Any], Any]:
    if isinstance(field, models.JSONField):
        return json.dumps
    return lambda value: field.get_db_prep_save(value, connection)


def _mark(field: Any) -> str:
    """A parameter in a SELECT has no type of its own on PostgreSQL."""
    if connection.vendor != "postgresql":
        return "%s"
    return f"%s::{field.rel_db_type(connection) if field.is_relation else field.db_type(connection)}"
