"""Brings the catalogues of patients' sentences up to date, or begins one for a further language."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from clinic.rules.tongue import LANGUAGES
from reminders.catalogue import catalogue_path, catalogue_write


class Command(BaseCommand):
    help = "Writes and compiles the catalogues (PO, MO) of the sentences that patients read. Needs Babel."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--add", metavar="CODE", help="begin a catalogue for this language (ISO 639-1)")

    def handle(self, *args: Any, **options: Any) -> None:
        added = [options["add"]] if options["add"] else []
        try:
            for language in [*(key for key in LANGUAGES if key != "en"), *added]:
                missing = catalogue_write(language)
                self.stdout.write(f"{catalogue_path(language, 'po')}: {len(missing)} sentences to translate")
        except ModuleNotFoundError as fault:
            raise CommandError(f"{fault.name} is missing: install the dev extra") from fault
