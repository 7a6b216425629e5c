"""The file that is handed over."""

import json
import zipfile
from collections.abc import Iterator
from datetime import datetime
from io import BytesIO, TextIOWrapper
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone

from clinic.models import Clinic, Event, Patient
from clinic.services.events import Actor, event_record
from clinic.services.exports import csv_lines
from reminders.export.collecting import PersonRecord, record_collect
from reminders.export.fhir import bundle_of
from reminders.rules.words import place_words
from reminders.services.erasing import rows_about
from taping.rules.skin_questions import QUESTION_BY_KEY

SECRETS = frozenset({"token_sha256", "token", "key", "lease_until"})
"""Columns that open or hold something and say nothing about the person."""


def person_export(*, actor: Actor, now: datetime, patient: Patient, clinic: Clinic) -> bytes:
    """A ZIP of everything about one patient and nobody else, as one person's rows fit into memory. now: aware.

    record.html to read, tables/*.csv with every column, fhir.json for another program. That it was taken is an event.
    """
    with transaction.atomic():
        event_record(actor=actor, verb="patient.exported", subject=patient, patient=patient, now=now)
        record = record_collect(patient, clinic.zone)
        file = BytesIO()
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("record.html", _page(record, clinic, now))
            archive.writestr("fhir.json", _json(bundle_of(record, now=now, base=settings.PUBLIC_ADDRESS)))
            for name, rows in _tables(patient):
                with archive.open(f"tables/{name}.csv", "w") as raw, TextIOWrapper(raw, "utf-8", newline="") as text:
                    text.writelines(_csv(rows))
    return file.getvalue()


def _tables(patient: Patient) -> Iterator[tuple[str, QuerySet[Any]]]:
    yield "patient", Patient.objects.filter(pk=patient.pk)
    for rows in rows_about(patient):
        if rows.exists():
            yield str(rows.model._meta.model_name), rows.order_by("pk")
    yield "event", Event.objects.filter(patient=patient).order_by("pk")


def _csv(rows: QuerySet[Any]) -> Iterator[str]:
    names = [one.attname for one in rows.model._meta.concrete_fields if one.name not in SECRETS]
    cells = ([_cell(value) for value in row] for row in rows.values_list(*names).iterator(chunk_size=500))
    return csv_lines(names, cells, ",")


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, (list, dict)) else str(value)


def _json(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, indent=1)


def _page(record: PersonRecord, clinic: Clinic, now: datetime) -> str:
    context = {
        "record": record,
        "patient": record.patient,
        "clinic": clinic,
        "now": now,
        "screens": [
            (row, place_words(row.region, row.side), [(_question(key), answer) for key, answer in row.answers.items()])
            for row in record.screens
        ],
        "tapes": [(row, place_words(row.region, row.side)) for row in record.tapes],
    }
    with timezone.override(clinic.zone):
        page = render_to_string("reminders/record_export.html", context)
    # In the page itself: it is often opened out of the archive, where no other file is found. No server serves it.
    return page.replace("</head>", f"<style>\n{render_to_string('reminders/record_export.css')}</style>\n</head>", 1)


def _question(key: str) -> str:
    return QUESTION_BY_KEY[key].text if key in QUESTION_BY_KEY else key.replace("_", " ")
