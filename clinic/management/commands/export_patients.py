"""manage.py export_patients: every patient, in a file that import_patients reads again."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from clinic.selectors import clinic_get
from clinic.services.events import Actor
from clinic.services.exports import patients_export


class Command(OneLineCommand):
    help = "Writes every patient into a new file: name, born, phone, email, external_id, note."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a file that does not exist yet")

    def handle(self, *args: Any, **options: Any) -> None:
        lines = patients_export(actor=Actor(word="command line"), now=timezone.now(), clinic=clinic_get())
        path = Path(options["file"])
        try:
            with path.open("x", encoding="utf-8", newline="") as file:
                path.chmod(0o600)
                file.writelines(lines)
        except FileExistsError as there:
            raise refuse(f"{path} exists already: name a new file") from there
        except OSError as unwritable:
            raise refuse(f"{path}: {unwritable.strerror or unwritable}") from unwritable
        self.stdout.write(f"Every patient is in {path}. Keep it as you keep the records.")
