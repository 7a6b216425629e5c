"""manage.py rehearse: what would be said, to whom, when and why, without saying it."""

import sqlite3
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone

from clinic.management.one_line import OneLineCommand, refuse
from reminders.rehearsal.copying import NothingToCopy
from reminders.rehearsal.living import rehearse_copy, run_apart
from reminders.rehearsal.output import rehearse_days, rehearse_scenario
from reminders.rehearsal.parts import BadScenario
from reminders.rehearsal.reading import read_file
from reminders.rehearsal.surroundings import MODULE

MOST_DAYS = 60


class Command(OneLineCommand):
    help = (
        "Play the coming days of this clinic on a copy, as if nobody answered, or an invented clinic from a file. "
        "Nothing is sent and nothing of the clinic is changed."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        days = parser.add_mutually_exclusive_group()
        days.add_argument("--days", type=int, choices=range(1, MOST_DAYS + 1), metavar=f"1..{MOST_DAYS}", default=7)
        days.add_argument("--scenario", metavar="FILE", help="a JSON file; needs no database and no settings")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON object a line")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            status = self._rehearse(options["scenario"], options["days"], options["as_json"])
        except BadScenario as bad:
            raise refuse(str(bad)) from bad
        except NothingToCopy as nothing:
            raise refuse(str(nothing)) from nothing
        except sqlite3.Error as fault:
            raise refuse(f"The database cannot be copied: {fault}.") from fault
        if status:
            sys.exit(status)

    def _rehearse(self, scenario: str | None, days: int, as_json: bool) -> int:
        apart = settings.SETTINGS_MODULE == MODULE
        words = ["--json"] if as_json else []
        if scenario is not None:
            read = read_file(Path(scenario))
            if not apart:
                return run_apart(["--scenario", scenario, *words])
            rehearse_scenario(read, as_json=as_json, write=self.stdout.write, tell=self.stderr.write)
        elif not apart:
            return rehearse_copy([f"--days={days}", *words], timezone.now())
        else:
            rehearse_days(now=timezone.now(), days=days, as_json=as_json, write=self.stdout.write)
        return 0
