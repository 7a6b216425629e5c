"""The list of patients as a file that import reads again without damage."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from django.db import transaction

from clinic.models import ImportLine, Patient, PatientImport
from clinic.models.clinic import Clinic
from clinic.rules.csv_form import SIMPLEST, guarded
from clinic.rules.import_match import LineState
from clinic.services.events import Actor, event_record

MARK = "\ufeff"  # spreadsheets take a file without it for one of their own country's old encodings
_CHUNK = 2000


class _Echo:
    """A file that gives back what is written to it."""

    def write(self, text: str) -> str:
        return text


def patients_export(*, actor: Actor, now: datetime, clinic: Clinic) -> Iterator[str]:
    """The lines of a file of every patient whose record was not erased, in the columns of the simplest list.

    The export is in the events.
    """
    with transaction.atomic():
        event_record(actor=actor, verb="patients.exported", subject=clinic, now=now)
    wanted = Patient.objects.filter(erased_at=None).order_by("id")
    rows = wanted.values_list("full_name", "born", "phone", "email", "external_id", "note")
    return csv_lines(SIMPLEST, ([_text(value) for value in row] for row in rows.iterator(chunk_size=_CHUNK)), ",")


def refused_export(of: PatientImport) -> Iterator[str]:
    """The lines that were left out, in the columns of their file, to be mended and read again."""
    left_out = (LineState.REFUSED, LineState.DOUBTFUL)
    rows = ImportLine.objects.filter(of=of, state__in=left_out).order_by("line")
    cells = rows.values_list("cells", flat=True).iterator(chunk_size=_CHUNK)
    return csv_lines(of.headings, cells, of.delimiter)


def csv_lines(headings: Sequence[str], rows: Iterable[Sequence[str]], delimiter: str) -> Iterator[str]:
    """The lines of a file that spreadsheets open rightly, and in which no cell becomes a formula."""
    writer = csv.writer(_Echo(), delimiter=delimiter)
    yield MARK + str(writer.writerow(list(headings)))
    for row in rows:
        yield str(writer.writerow([guarded(cell) for cell in row]))


def _text(value: object) -> str:
    return "" if value is None else str(value)
