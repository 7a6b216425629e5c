"""Everybody whom a checked list changes and nobody else has changed since, written by the database itself.

As with those who are new, what takes long has been done in the check: whom a line means, which fields differ, and the
key of the name. Lines that need another look are left to the way that judges each again.
"""

from datetime import datetime

from django.db import connection

from clinic.models import PatientImport
from clinic.rules.import_match import LineState
from clinic.services.events import Actor
from clinic.services.import_judging import FIELDS
from clinic.services.import_sql import event_columns, said
from clinic.services.versions import plan_raised

# Still stored as it was when the line was checked, alone in its name on its birth date and in its number, and meant by
# no other line. Somebody is known by name only together with the birth date, so that other namesakes change nothing.
_SURE = (
    f"line.of_id = %s AND line.state = '{LineState.CHANGED}' "  # noqa: S608
    "AND line.found_id = stored.id AND line.found_version = stored.version AND stored.erased_at IS NULL "
    "AND NOT EXISTS (SELECT 1 FROM clinic_patient AS other "
    'WHERE other.search_text = line."search_text" AND other.born = stored.born AND other.id <> stored.id) '
    "AND NOT EXISTS (SELECT 1 FROM clinic_patient AS other "
    "WHERE other.external_id = {number} AND other.id <> line.found_id) "
    "AND line.found_id NOT IN (SELECT twin.found_id FROM clinic_importline AS twin WHERE twin.of_id = %s "
    f"AND twin.state = '{LineState.CHANGED}' AND twin.found_id IS NOT NULL GROUP BY twin.found_id HAVING COUNT(*) > 1)"
)
_BOTH = "clinic_importline AS line, clinic_patient AS stored"


def changed_lines_sure(of: PatientImport) -> set[int]:
    """Numbers of the lines that `patients_changed` writes."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT line.line FROM {_BOTH} WHERE {_sure()}", [of.pk, of.pk])  # noqa: S608
        return {number for (number,) in cursor}


def patients_changed(*, actor: Actor, now: datetime, of: PatientImport) -> int:
    """Write them, each with its event; returns how many. Call it in the transaction that writes the list.

    The events come first: they tell who is about to be changed, which the changed rows no longer do.
    """
    about = {"subject_id": "CAST(line.found_id AS varchar)", "patient": "line.found_id", "fields": "line.changes"}
    columns, expressions, values = event_columns(actor, now, "patient.changed", about)
    events = (
        f"INSERT INTO clinic_event ({columns}) SELECT {expressions} FROM {_BOTH} "  # noqa: S608
        f"WHERE {_sure()} ORDER BY line.found_id"
    )
    change = (
        f"UPDATE clinic_patient AS stored SET {_new_values(of)} FROM clinic_importline AS line "  # noqa: S608
        f"WHERE {_sure()}"
    )
    with connection.cursor() as cursor:
        cursor.execute(events, [*values, of.pk, of.pk])
        told = int(cursor.rowcount)
        cursor.execute(change, [of.pk, of.pk])
        count = int(cursor.rowcount)
    if count:
        plan_raised()
    return count if count == told else -1


def _sure() -> str:
    return _SURE.format(number=said("external_id"))


def _new_values(of: PatientImport) -> str:
    """Only columns that a line changes are named, for each has its index. What a line does not say stays as it is."""
    lines = of.judged.filter(state=LineState.CHANGED).order_by()
    changed = {name for names in lines.values_list("changes", flat=True).distinct() for name in names}
    date = "::date" if connection.vendor == "postgresql" else ""
    said_of = {name: said(name) + (date if name == "born" else "") for name in FIELDS if name in changed}
    own = [f'"{name}" = COALESCE({value}, stored."{name}")' for name, value in said_of.items()]
    raised = [f'"{name}" = stored."{name}" + 1' for name in ("version", "plan_version")]
    key = ['"search_text" = line."search_text"'] if "full_name" in changed else []
    return ", ".join([*own, *raised, *key])
