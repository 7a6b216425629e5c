"""manage.py rehearse: what would be said, to whom, when and why, without saying it."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from clinic.management.one_line import OneLineCommand, refuse
from reminders.rehearsal.parts import BadScenario

MOST_DAYS = 60


class Command(OneLineCommand):
    help = (
        "Play the coming days of this clinic on a copy, as if nobody answered, or an invented clinic from a file. "
        "Nothing is sent and nothing of the clinic is changed."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--days", type=int, choices=range(1, MOST_DAYS + 1), metavar=f"1..{MOST_DAYS}", default=7)
        parser.add_argument("--scenario", metavar="FILE", help="a JSON file; needs no database and no settings")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON object a line")

    def handle(self, *args: Any, **options: Any) -> None:
        from reminders.rehearsal.output import rehearse_scenario

        try:
            rehearse_scenario(Path(options["scenario"]), as_json=options["as_json"], out=sys.stdout)
        except BadScenario as bad:
            raise refuse(str(bad)) from bad
