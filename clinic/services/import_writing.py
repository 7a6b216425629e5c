"""Writes the checked lines of a list, all of them or none."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from clinic.models import Event, ImportLine, Patient, PatientImport
from clinic.rules.import_match import LineState, Match
from clinic.rules.text import find_key
from clinic.services.events import Actor, event_record
from clinic.services.import_changed import changed_lines_sure, patients_changed
from clinic.services.import_judging import FIELDS, WRITTEN, Stored, channel_of
from clinic.services.import_new import new_lines_sure, patients_new
from clinic.services.import_reading import ReadLine, from_stored
from clinic.services.import_sql import joining_whole
from clinic.services.imports import ImportRefused, counts_of
from clinic.services.versions import plan_raise_all

BATCH = 500
LINES_A_SECOND = 20_000
"""How many lines are written, at the least, in a second of a small machine that has little else to do."""


def seconds_others_wait(lines: int) -> int:
    """About how long nobody else can save anything while so many lines are written; 0 where nobody notices."""
    return lines // LINES_A_SECOND if connection.vendor == "sqlite" else 0


@transaction.atomic
def import_write(*, actor: Actor, now: datetime, of: PatientImport) -> PatientImport:
    """Write what is new and what has changed; the second of two posts finds it written and changes nothing.

    Each line is judged again against who is stored now: where that has changed since the check, the line is left
    as doubtful. Consent is never set or taken by a list. Raises ImportRefused where the check has not ended.
    """
    current = PatientImport.objects.select_for_update().filter(pk=of.pk).first()
    if current is None:
        raise ImportRefused("This list was dropped in the meantime. Begin with the file again.")
    if current.state == PatientImport.State.WRITTEN:
        return current
    if current.state != PatientImport.State.CHECKED:
        raise ImportRefused("Nothing was written: the lines have not all been checked yet.")
    with joining_whole():
        sure = _written_at_once(actor, now, current)
    touched: set[int] = set()
    for rows in _batches(current, sure):
        _write(actor, now, rows, touched)
    current.state, current.written_at, current.counts = PatientImport.State.WRITTEN, now, counts_of(current)
    current.save(update_fields=["state", "written_at", "counts"])
    current.parts.all().delete()
    event_record(actor=actor, verb="import.written", subject=current, now=now)
    return current


def _written_at_once(actor: Actor, now: datetime, of: PatientImport) -> set[int]:
    """Write the lines about which there is nothing to ask again; returns their numbers."""
    new = new_lines_sure(of)
    if patients_new(actor=actor, now=now, of=of) != len(new):
        raise ImportRefused(
            "Nothing was written: somebody was entered at this very moment. Please write the list again."
        )
    changed = changed_lines_sure(of)
    if patients_changed(actor=actor, now=now, of=of) != len(changed):
        raise ImportRefused(
            "Nothing was written: somebody's details were saved at this very moment. Please write the list again."
        )
    return new | changed


def _batches(of: PatientImport, done: set[int]) -> Iterator[list[ImportLine]]:
    """The lines to be written whose numbers are not in done."""
    lines = of.judged.filter(state__in=WRITTEN).order_by("line").values_list("line", flat=True)
    left = [line for line in lines.iterator(chunk_size=5_000) if line not in done]
    for start in range(0, len(left), BATCH):
        yield list(of.judged.filter(line__in=left[start : start + BATCH]).order_by("line"))


def _write(actor: Actor, now: datetime, rows: list[ImportLine], touched: set[int]) -> None:
    """touched: who was changed by lines above; of two lines about one person the second is left to somebody."""
    read = [ReadLine(row.line, row.cells, from_stored(row.values)) for row in rows]
    stored = Stored(read)
    new: list[Patient] = []
    changed: dict[int, tuple[Match, dict[str, Any]]] = {}
    for row, line in zip(rows, read, strict=True):
        found = stored.match(line)
        if found.id in touched and found.state != LineState.SAME:
            _leave(row, LineState.DOUBTFUL, "A line above is about the same person, and was written.")
        elif found.state != row.state:
            state = LineState.SAME if found.state == LineState.SAME else LineState.DOUBTFUL
            _leave(row, state, f"Somebody changed what is stored since the check. {found.reason}".strip())
        elif found.id is None:
            new.append(_patient(line.values, gets_texts=row.gets_texts))
        else:
            changed[found.id] = (found, line.values)
            touched.add(found.id)
    Patient.objects.bulk_create(new)
    events = [_event(actor, now, "patient.imported", patient, FIELDS) for patient in new]
    events += [_event(actor, now, "patient.changed", *one) for one in _change(changed)]
    Event.objects.bulk_create(events)


def _leave(row: ImportLine, state: LineState, reason: str) -> None:
    row.state, row.reason = state, reason[:500]
    row.save(update_fields=["state", "reason"])


def _patient(values: dict[str, Any], *, gets_texts: bool) -> Patient:
    prefers = channel_of(values, gets_texts=gets_texts)
    return Patient(**values, prefers=prefers, search_text=find_key(values["full_name"]))


def _change(changed: dict[int, tuple[Match, dict[str, Any]]]) -> list[tuple[Patient, tuple[str, ...]]]:
    patients = list(Patient.objects.select_for_update().filter(pk__in=changed).order_by("pk"))
    written: set[str] = set()
    done = []
    for patient in patients:
        found, values = changed[patient.pk]
        for name in found.changes:
            setattr(patient, name, values[name])
        patient.search_text = find_key(patient.full_name)
        patient.version += 1
        written.update(found.changes)
        done.append((patient, found.changes))
    if patients:
        Patient.objects.bulk_update(patients, [*sorted(written), "search_text", "version"], batch_size=100)
        plan_raise_all(patients)
    return done


def _event(actor: Actor, now: datetime, verb: str, patient: Patient, fields: tuple[str, ...]) -> Event:
    return Event(
        at=now,
        actor=actor.user,
        actor_word=actor.word,
        origin=actor.origin,
        verb=verb,
        subject_type="patient",
        subject_id=str(patient.pk),
        patient=patient,
        fields=sorted(fields),
    )
