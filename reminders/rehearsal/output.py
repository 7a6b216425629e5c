"""What the rehearsing process writes: the lines of a scenario file, or of the coming days."""

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

from django.core.management import call_command

from clinic.selectors import clinic_get
from reminders.rehearsal.copying import load_rows
from reminders.rehearsal.lines import Names, all_lines, write_json
from reminders.rehearsal.living import play_days
from reminders.rehearsal.play import Tell, play
from reminders.rehearsal.scenario import Scenario
from reminders.rehearsal.table import write_table
from reminders.rules.words import day_words

Write = Callable[[str], object]


def rehearse_scenario(scenario: Scenario, *, as_json: bool, write: Write, tell: Tell) -> None:
    """Play a file in the database at hand, which is made first and must be empty."""
    _migrate()
    company, _ = play(scenario, tell=tell)
    lines = list(all_lines(Names.of(company, scenario), scenario.ends_at))
    if as_json:
        write_json(lines, write)
    else:
        write_table(lines, scenario.clinic.time_zone, write)


def rehearse_days(*, now: datetime, days: int, as_json: bool, write: Write) -> None:
    """Play the coming days from now (aware) in the database at hand, which is a copy."""
    _migrate()
    if rows := os.environ.get("ROWS"):
        load_rows(Path(rows))
    lines = play_days(now=now, days=days, named=not as_json)
    if as_json:
        write_json(lines, write)
        return
    clinic = clinic_get()
    until = (now + timedelta(days=days)).astimezone(clinic.zone).date()
    write(f"{clinic.name}: what is said until {day_words(until)} if nobody answers.\n")
    write(f"Clock times are those of {clinic.time_zone}. Nothing was sent, and nothing was changed.\n")
    write_table(lines, clinic.zone, write)


def _migrate() -> None:
    call_command("migrate", verbosity=0, interactive=False)
