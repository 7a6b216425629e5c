"""manage.py who_may: every address and which roles may open it, read from the code."""

import json
from argparse import ArgumentParser
from typing import Any

from clinic.management.one_line import OneLineCommand
from clinic.views.access import STAFF
from clinic.views.who_may import Door, doors

COLUMNS = ("stranger", *STAFF)


class Command(OneLineCommand):
    help = "Print every address with who may open it. A patient's link opens what a stranger may, and its own page."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", dest="as_json", help="one object an address")

    def handle(self, *args: Any, **options: Any) -> None:
        for door in doors():
            if options["as_json"]:
                who = {column: door.may(column) for column in COLUMNS}
                self.stdout.write(json.dumps({"name": door.name, "route": door.route, **who}))
            else:
                self.stdout.write(line(door))


def line(door: Door) -> str:
    """The address's name, and the roles that may, in columns."""
    return f"{door.name:<28}{door.route:<56}" + " ".join(
        f"{column if door.may(column) else '-':<10}" for column in COLUMNS
    )
