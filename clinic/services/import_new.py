"""Everybody who is new in a checked list, written by the database itself from the lines that lie in it.

SQLite lets nobody else write meanwhile, so that what takes long has been done before: each line's values, the key its
name is found by and the channel stand in it since the check. A list of 200,000 takes seconds, and no memory.
"""

from datetime import datetime
from typing import Any

from django.db import connection, models

from clinic.models import Patient, PatientImport
from clinic.rules.import_match import LineState
from clinic.services.events import Actor
from clinic.services.import_judging import FIELDS
from clinic.services.import_sql import event_columns, said

# Nobody stored has this name or number: whatever the rest says, the line is about somebody new.
_NOBODY_LIKE = (
    'NOT EXISTS (SELECT 1 FROM clinic_patient AS other WHERE other.search_text = line."search_text") '
    "AND NOT EXISTS (SELECT 1 FROM clinic_patient AS other WHERE other.external_id = {number})"
)
_SURE = f"line.of_id = %s AND line.state = '{LineState.NEW}' AND line.search_text <> '' AND {_NOBODY_LIKE}"

_ABOUT = {"subject_id": "CAST(made.id AS varchar)", "patient": "made.id"}


def new_lines_sure(of: PatientImport) -> set[int]:
    """Numbers of the new lines that are about nobody stored, in name or number: those that `patients_new` writes."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT line.line FROM clinic_importline AS line WHERE {_sure()}", [of.pk])  # noqa: S608
        return {number for (number,) in cursor}


def patients_new(*, actor: Actor, now: datetime, of: PatientImport) -> int:
    """Write them, each with its event; returns how many. Call it in the transaction that writes the list."""
    columns, expressions, values = _columns(now)
    insert = (
        f"INSERT INTO clinic_patient ({columns}) SELECT {expressions} FROM clinic_importline AS line "  # noqa: S608
        f"WHERE {_sure()} ORDER BY line.line"
    )
    told_columns, told_values, given = event_columns(actor, now, "patient.imported", _ABOUT)
    events = f"INSERT INTO clinic_event ({told_columns}) SELECT {told_values} FROM {{}}"  # noqa: S608
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            made = f"WITH made AS ({insert} RETURNING id) {events.format('made')}"
            cursor.execute(made, [*values, of.pk, *given])
            return int(cursor.rowcount)
        # Nobody else writes in between: what has a higher number than the last one before was written here.
        last = Patient.objects.aggregate(last=models.Max("pk"))["last"] or 0
        cursor.execute(insert, [*values, of.pk])
        cursor.execute(events.format("clinic_patient AS made WHERE made.id > %s ORDER BY made.id"), [*given, last])
        return int(cursor.rowcount)


def _sure() -> str:
    return _SURE.format(number=said("external_id"))


def _columns(now: datetime) -> tuple[str, str, list[Any]]:
    """Each column of a patient but the id, what it is written from, and the parameters among these."""
    names, expressions, values = [], [], []
    for field in Patient._meta.concrete_fields:
        if field.primary_key:
            continue
        names.append(f'"{field.column}"')
        if field.name in ("search_text", "prefers"):
            expressions.append(f"line.{field.name}")
        elif field.name == "born":
            expressions.append(said("born") + ("::date" if connection.vendor == "postgresql" else ""))
        elif field.name in FIELDS:
            expressions.append(said(field.name) if field.null else f"COALESCE({said(field.name)}, '')")
        else:
            value = now if field.name == "created_at" else field.get_default()
            expressions.append("%s")
            values.append(field.get_db_prep_save(value, connection))
    return ", ".join(names), ", ".join(expressions), values
