"""manage.py backup: the clinic in one file, made while it works."""

import json
import os
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone

from clinic.backup.drill import drill
from clinic.backup.making import Made, backup_make
from clinic.backup.packing import key_make, key_read
from clinic.backup.refusals import BackupRefused
from clinic.management.one_line import OneLineCommand, refuse
from clinic.services.events import Actor


class Command(OneLineCommand):
    help = (
        "Writes every record into one new file, reads it again to be sure, and removes old backups beyond BACKUP_KEEP. "
        "Encrypted where BACKUP_KEY is set."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", metavar="FOLDER", help="instead of BACKUP_FOLDER")
        parser.add_argument("--drill", action="store_true", help="restore it into a database of its own and compare")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON object")
        parser.add_argument("--new-key", metavar="FILE", help="make a key in a new file, and no backup")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["new_key"]:
            self._new_key(Path(options["new_key"]))
            return
        try:
            key = key_read(settings.BACKUP_KEY)
            made = backup_make(
                actor=Actor(word="command line"),
                now=timezone.now(),
                folder=Path(options["to"] or settings.BACKUP_FOLDER),
                key=key,
                keep=settings.BACKUP_KEEP,
            )
            drilled = bool(options["drill"] and drill(made.path, made.manifest))
        except BackupRefused as refused:
            raise refuse(str(refused)) from refused
        self._tell(made, encrypted=key is not None, drilled=drilled, as_json=options["as_json"])

    def _tell(self, made: Made, *, encrypted: bool, drilled: bool, as_json: bool) -> None:
        manifest = made.manifest
        if as_json:
            told = {
                "file": str(made.path), "bytes": made.size, "rows": manifest.rows, "encrypted": encrypted,
                "drilled": drilled, "removed": list(made.removed),
                "tables": {table: asdict(digest) for table, digest in manifest.tables.items()},
            }  # fmt: skip
            self.stdout.write(json.dumps(told))
            return
        self.stdout.write(f"{made.path}: {manifest.rows:,} rows, {made.size:,} bytes, read again and whole.")
        if drilled:
            self.stdout.write(f"Restored into a database of its own: all {len(manifest.tables)} tables are the same.")
        if made.removed:
            self.stdout.write(f"Removed: {', '.join(made.removed)}.")
        if encrypted:
            self.stdout.write("Keep BACKUP_KEY somewhere else: without it nobody can open this file.")
        else:
            self.stdout.write("It is not encrypted and does not hold LINK_KEY: keep both under lock. See --new-key.")

    def _new_key(self, path: Path) -> None:
        try:
            with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
                file.write(key_make() + "\n")
        except OSError as fault:
            raise refuse(f"{path}: {fault.strerror or fault}. Name a new file.") from fault
        self.stdout.write(f"The key is in {path}. Set BACKUP_KEY_FILE to it, and keep a copy away from this machine.")
