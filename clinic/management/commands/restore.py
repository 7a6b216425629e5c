"""manage.py restore: a backup brought back into an empty place."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone

from clinic.backup.contents import check
from clinic.backup.packing import key_read
from clinic.backup.refusals import BackupRefused
from clinic.backup.restoring import restore
from clinic.management.one_line import OneLineCommand, refuse
from clinic.services.events import Actor

LINKS = {
    "same": "The links that patients have work.",
    "brought back": "LINK_KEY was brought back: the links that patients have work.",
    "another": "LINK_KEY is another than it was: set the old one, or the links that patients already have are dead.",
}


class Command(OneLineCommand):
    help = "Brings a backup back into an empty database, compares every table, and migrates to this version."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE")
        parser.add_argument("--check", action="store_true", help="read the file to its end and change nothing")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        path = Path(options["file"])
        try:
            key = key_read(settings.BACKUP_KEY)
            if options["check"]:
                manifest = check(path, key)
                tables, links = manifest.tables, ""
            else:
                done = restore(actor=Actor(word="command line"), now=timezone.now(), path=path, key=key)
                manifest, tables, links = done.manifest, done.tables, done.link_key
        except BackupRefused as refused:
            raise refuse(str(refused)) from refused
        if options["as_json"]:
            told = {name: asdict(digest) for name, digest in tables.items()}
            self.stdout.write(json.dumps({"rows": manifest.rows, "link_key": links, "tables": told}))
            return
        made = f"made {manifest.made_at:%Y-%m-%d %H:%M} UTC by version {manifest.program}"
        if options["check"]:
            self.stdout.write(f"{path.name}: whole, {manifest.rows:,} rows in {len(tables)} tables, {made}.")
            return
        self.stdout.write(f"Restored {manifest.rows:,} rows in {len(tables)} tables, each the same as when {made}.")
        self.stdout.write(LINKS[links])
