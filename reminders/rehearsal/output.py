"""Runs a scenario file and writes what it came to."""

import sys
from pathlib import Path
from typing import TextIO

from django.core.management import call_command

from reminders.rehearsal.lines import Names, all_lines, write_json
from reminders.rehearsal.play import play
from reminders.rehearsal.reading import read_file
from reminders.rehearsal.table import write_table


def rehearse_scenario(path: Path, *, as_json: bool, out: TextIO) -> None:
    """Play the file in the database at hand, which is made first and must be empty. Raises BadScenario."""
    scenario = read_file(path)
    call_command("migrate", verbosity=0, interactive=False)
    company, _ = play(scenario, tell=lambda words: print(words, file=sys.stderr))
    lines = list(all_lines(Names.of(company, scenario), scenario.ends_at))
    if as_json:
        write_json(lines, out.write)
    else:
        write_table(lines, scenario.clinic.time_zone, out.write)
