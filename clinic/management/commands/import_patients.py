"""manage.py import_patients: a list of patients from another program."""

import json
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from clinic.models import ImportLine, PatientImport
from clinic.rules.ages import DateOrder
from clinic.rules.csv_form import Column, UnreadableFileError, mapping_named
from clinic.rules.import_match import LineState
from clinic.services.events import Actor
from clinic.services.import_file import PART_BYTES
from clinic.services.import_writing import import_write
from clinic.services.imports import ImportRefused, import_begin, import_check, import_choose, import_drop

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
ACTOR = Actor(word="command line")
CHUNKS = 10
SHOWN = ("name", "born", "phone", "email", "external_id")


class Command(OneLineCommand):
    help = (
        "Reads patients from a file with one line a person, and writes what is new or changed, all of it or nothing. "
        "Exit status 1 when a line was refused."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--dry-run", action="store_true", help="check every line and write nothing")
        parser.add_argument("--json", action="store_true", help="one JSON object a line, then the totals")
        parser.add_argument("--encoding", default="", help="such as cp1252; without it the file is looked at")
        parser.add_argument("--delimiter", choices=sorted(DELIMITERS), help="without it the heading tells")
        parser.add_argument("--dates", choices=[str(one) for one in DateOrder], default="", help="dmy, mdy or ymd")
        parser.add_argument(
            "--column", action="append", default=[], metavar="NAME=HEADING", help="such as born=Birthday; repeatable"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            of = import_begin(
                actor=ACTOR, now=timezone.now(), file_name=Path(options["file"]).name, pieces=_pieces(options["file"])
            )
        except ImportRefused as refused:
            raise refuse(str(refused)) from refused
        try:
            of = self._run(of, options)
            self._tell(of, as_json=options["json"], written=not options["dry_run"])
            refused_lines = of.counts[LineState.REFUSED]
        except (ImportRefused, UnreadableFileError) as refused:
            raise refuse(str(refused)) from refused
        finally:
            import_drop(actor=ACTOR, now=timezone.now(), of=of)
        if refused_lines:
            sys.exit(1)

    def _run(self, of: PatientImport, options: dict[str, Any]) -> PatientImport:
        mapping = {Column(word): place for word, place in of.mapping.items()}
        mapping.update(mapping_named(options["column"], of.headings))
        of = import_choose(
            actor=ACTOR,
            now=timezone.now(),
            of=of,
            codec=options["encoding"],
            delimiter=DELIMITERS.get(options["delimiter"] or "", of.delimiter),
            mapping=mapping if not options["delimiter"] else None,
            order=DateOrder(options["dates"] or of.date_order) if options["dates"] or of.date_order else None,
        )
        while of.state == PatientImport.State.CHECKING:
            of = import_check(of=of, today=timezone.localdate(), chunks=CHUNKS)
            if sys.stderr.isatty():
                self.stderr.write(f"{of.done:,} of {of.lines:,} lines checked")
        return of if options["dry_run"] else import_write(actor=ACTOR, now=timezone.now(), of=of)

    def _tell(self, of: PatientImport, *, as_json: bool, written: bool) -> None:
        for line in of.judged.order_by("line").iterator(chunk_size=2000):
            if as_json:
                self.stdout.write(json.dumps(_told(line, of.mapping), ensure_ascii=False))
            elif line.state in {LineState.REFUSED, LineState.DOUBTFUL}:
                self.stdout.write(f"line {line.line}: {line.state}. {line.reason}")
        if as_json:
            self.stdout.write(json.dumps({"total": of.counts}))
            return
        counts = ", ".join(f"{of.counts[state]:,} {state}" for state in LineState)
        self.stdout.write(f"{counts}. {'Written.' if written else 'Nothing was written.'}")


def _pieces(path: str) -> Iterator[bytes]:
    try:
        with Path(path).open("rb") as file:
            while piece := file.read(PART_BYTES):
                yield piece
    except OSError as unreadable:
        raise refuse(f"{path}: {unreadable.strerror or unreadable}") from unreadable


def _told(line: ImportLine, mapping: dict[str, int]) -> dict[str, object]:
    """One line as told: what was read, and what the cell says where it could not be read."""
    values = {("name" if name == "full_name" else name): value for name, value in line.values.items()}
    cells = {word: line.cells[place] for word, place in mapping.items() if place < len(line.cells)}
    patient = {name: values.get(name, cells.get(name, "")) for name in SHOWN}
    return {"line": line.line, "state": line.state, "reason": line.reason, "patient": patient}
