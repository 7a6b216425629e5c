"""manage.py bench: the measurements quoted in DEVELOPERS.md."""

import json
from argparse import ArgumentParser
from typing import Any

from clinic.management.one_line import OneLineCommand
from reminders.bench import rules


class Command(OneLineCommand):
    help = "Measure the program on this machine. Medians over repeats; figures hold as ratios between machines."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=("rules",), help="rules: cuts, verdicts, message plans, free times")
        parser.add_argument("--repeats", type=int, choices=range(1, 101), metavar="1..100", default=5)
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON object instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        figures = rules.measure(repeats=options["repeats"]).as_dict()
        if options["as_json"]:
            self.stdout.write(json.dumps(figures))
            return
        for name, value in figures.items():
            self.stdout.write(f"{name.replace('_', ' '):<22}{value:>12,}")
