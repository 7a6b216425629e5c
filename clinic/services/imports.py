"""A list of patients from its upload to the last line. Lines are checked in slices, and written in one transaction."""

from collections.abc import Callable, Iterable, Mapping
from copy import copy
from datetime import date, datetime
from hashlib import sha256
from itertools import islice

from django.db import transaction
from django.db.models import Count

from clinic.models import ImportLine, ImportPart, PatientImport, RememberedColumns
from clinic.rules.ages import DateOrder
from clinic.rules.csv_form import (
    Column,
    UnreadableFileError,
    cells_of,
    columns_of,
    delimiter_of,
    encoding_of,
    heading_key,
    mapping_missing,
    refuse_no_text,
    refuse_other_files,
)
from clinic.rules.import_dates import DateColumn
from clinic.rules.import_match import LineState
from clinic.selectors import clinic_get
from clinic.services.events import Actor, event_record
from clinic.services.import_file import MOST_BYTES, PART_BYTES, Utf8Check, heading_line, records
from clinic.services.import_judging import lines_judge
from clinic.services.import_reading import Reading, ReadLine, line_read

CHUNK = 500


class ImportRefused(Exception):
    """The file cannot be used, or not like this; the text says why and what to do."""


@transaction.atomic
def import_begin(*, actor: Actor, now: datetime, file_name: str, pieces: Iterable[bytes]) -> PatientImport:
    """Keep a file and tell its encoding, separator and columns, as remembered from the last file like it.

    Raises ImportRefused for a file that is empty, too large, or no list.
    """
    of = PatientImport.objects.create(
        file_name=file_name[-200:],
        size=0,
        by=actor.user,
        uploaded_at=now,
        codec="utf-8",
        codec_sure=True,
        delimiter=",",
    )
    head, utf8 = _keep(of, pieces), Utf8Check()
    for part in ImportPart.objects.filter(of=of).iterator(chunk_size=1):
        utf8.look(bytes(part.content))
    utf8.look(b"", final=True)
    found = encoding_of(head, is_utf8=utf8.holds)
    of.codec, of.codec_sure = found.codec, found.sure
    try:
        refuse_other_files(head)
        refuse_no_text(head.decode(of.codec, "replace"))
        line = heading_line(of)
    except UnreadableFileError as unreadable:
        raise ImportRefused(f"This file cannot be read: {unreadable}.") from unreadable
    of.delimiter = delimiter_of(line)
    of.headings = cells_of(line, of.delimiter)
    of.mapping = {str(column): place for column, place in columns_of(of.headings).items()}
    before = RememberedColumns.objects.filter(headings=_headings_key(of.headings)).first()
    if before is not None:
        of.mapping, of.date_order = before.mapping, before.date_order
    of.save()
    event_record(actor=actor, verb="import.uploaded", subject=of, now=now)
    return of


def import_choose(
    *,
    actor: Actor,
    now: datetime,
    of: PatientImport,
    codec: str,
    delimiter: str,
    mapping: Mapping[Column, int] | None,
    order: DateOrder | None,
) -> PatientImport:
    """Settle how the file is read, look over its dates, and make it ready to be checked from its first line.

    mapping: None takes the columns that are known by their headings. order: None is told from the dates themselves
    where they tell it. Choosing anew throws earlier results away. Raises ImportRefused.
    """
    of = copy(of)
    of.codec_sure, of.codec, of.delimiter = of.codec_sure or codec != "", codec or of.codec, delimiter
    # A long file is read before anything is locked: nobody waits for it.
    try:
        of.headings = cells_of(heading_line(of), delimiter)
        chosen = dict(columns_of(of.headings) if mapping is None else mapping)
        if missing := mapping_missing(chosen):
            raise ImportRefused(missing)
        of.lines, told = _survey(of, chosen.get(Column.BORN), now.date())
    except (UnreadableFileError, LookupError) as unreadable:
        raise ImportRefused(f"This file cannot be read like this: {unreadable}.") from unreadable
    of.mapping, of.date_order = {str(column): place for column, place in chosen.items()}, order or told or ""
    return _chosen(actor=actor, now=now, of=of, order=order)


@transaction.atomic
def _chosen(*, actor: Actor, now: datetime, of: PatientImport, order: DateOrder | None) -> PatientImport:
    if _locked(of).state == PatientImport.State.WRITTEN:
        raise ImportRefused("This list was written in the meantime. Begin with the file again to read it anew.")
    of.done, of.counts, of.state = 0, {}, PatientImport.State.CHECKING
    of.judged.all().delete()
    of.save()
    RememberedColumns.objects.update_or_create(
        headings=_headings_key(of.headings),
        defaults={"mapping": of.mapping, "date_order": order or "", "saved_at": now},
    )
    event_record(actor=actor, verb="import.columns_chosen", subject=of, now=now)
    return of


def import_check(
    *, of: PatientImport, today: date, chunks: int = 1, enough: Callable[[], bool] = lambda: False
) -> PatientImport:
    """Check up to chunks × CHUNK further lines, or until enough says so; each chunk is a transaction of its own.

    A chunk can be repeated. To begin anew costs reading over all lines before: ask for many chunks at once.
    today: the clinic's date. Returns the file as it stands now; its state tells when all lines are checked.
    """
    rows, reading = records(of, after=of.done), _reading(of, clinic_get().country, today)
    for _ in range(chunks):
        try:
            chunk = list(islice(rows, CHUNK))
        except UnreadableFileError as unreadable:
            raise ImportRefused(f"This file cannot be read to its end: {unreadable}.") from unreadable
        of = _checked(of, [line_read(record, reading) for record in chunk])
        if enough() or of.state != PatientImport.State.CHECKING:
            break
    return of


@transaction.atomic
def import_drop(*, actor: Actor, now: datetime, of: PatientImport) -> None:
    """Forget a file and its lines; what was written from it stays."""
    event_record(actor=actor, verb="import.dropped", subject=of, now=now)
    of.delete()


@transaction.atomic
def _checked(of: PatientImport, chunk: list[ReadLine]) -> PatientImport:
    current = _locked(of)
    if current.done != of.done or current.state != PatientImport.State.CHECKING or not _read_alike(current, of):
        return current
    judged = lines_judge(current, chunk)
    ImportLine.objects.bulk_create(judged, batch_size=CHUNK)
    current.done += len(chunk)
    if len(chunk) < CHUNK:
        current.state, current.counts = PatientImport.State.CHECKED, counts_of(current)
    current.save(update_fields=["done", "state", "counts"])
    return current


def _reading(of: PatientImport, country: str, today: date) -> Reading:
    return Reading(
        mapping={Column(word): place for word, place in of.mapping.items()},
        width=len(of.headings),
        order=DateOrder(of.date_order) if of.date_order else None,
        country=country,
        latest=today,
        codec_sure=of.codec_sure,
    )


def _read_alike(current: PatientImport, of: PatientImport) -> bool:
    """Whether nobody has chosen another way to read the file since."""
    names = ("codec", "codec_sure", "delimiter", "headings", "mapping", "date_order")
    return all(getattr(current, name) == getattr(of, name) for name in names)


def counts_of(of: PatientImport) -> dict[str, int]:
    """How many lines are in each state; every state is there."""
    found = dict(of.judged.order_by().values_list("state").annotate(Count("id")))
    return {str(state): found.get(state, 0) for state in LineState}


def _keep(of: PatientImport, pieces: Iterable[bytes]) -> bytes:
    """Store the bytes in parts of one size; returns the first of them."""
    head, waiting, position = b"", b"", 0
    for piece in pieces:
        of.size += len(piece)
        if of.size > MOST_BYTES:
            words = f"it is larger than {MOST_BYTES // 1024 // 1024} MB. Divide it into several files"
            raise ImportRefused(f"This file was not kept: {words}.")
        waiting += piece
        head = head or waiting[:4096]
        while len(waiting) >= PART_BYTES:
            ImportPart.objects.create(of=of, position=position, content=waiting[:PART_BYTES])
            waiting, position = waiting[PART_BYTES:], position + 1
    if waiting:
        ImportPart.objects.create(of=of, position=position, content=waiting)
    return head


def _survey(of: PatientImport, born: int | None, today: date) -> tuple[int, DateOrder | None]:
    """How many lines there are, and the order in which the dates among them are written, where they tell it."""
    column, count = DateColumn(), 0
    for record in records(of):
        count += 1
        if born is not None and born < len(record.cells) and record.cells[born].strip():
            column.look([record.cells[born]], latest=today)
    return count, column.order


def _locked(of: PatientImport) -> PatientImport:
    current = PatientImport.objects.select_for_update().filter(pk=of.pk).first()
    if current is None:
        raise ImportRefused("This list was dropped in the meantime. Begin with the file again.")
    return current


def _headings_key(headings: list[str]) -> str:
    return sha256("\n".join(heading_key(heading) for heading in headings).encode()).hexdigest()
