"""The coming days of a clinic, as if nobody answered: played on a copy of it, in a process of its own."""

import os
import subprocess
import sys
from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from django.conf import settings

from clinic.models import Patient
from reminders.models import CallItem, Message
from reminders.rehearsal.clockwork import Clockwork, Course
from reminders.rehearsal.copying import copy_file, copy_rows
from reminders.rehearsal.lines import Line, Names, application_lines, call_lines, message_lines
from reminders.rehearsal.surroundings import GIVEN, MODULE
from reminders.rehearsal.ways import Ways
from reminders.rules.words import place_words
from taping.models import Application

TICK = timedelta(minutes=1)
_SAID = ("PUBLIC_ADDRESS", "SENDER_ADDRESS")
"""Settings that stand in messages, and so bear on what is said."""


def rehearse_copy(words: list[str], now: datetime) -> int:
    """Copy this clinic as it is at now (aware) and let another process rehearse it; the exit status of that.

    words: those of the command. The copy is deleted when it is over. Raises NothingToCopy, sqlite3.Error.
    """
    with TemporaryDirectory(prefix="wearwindow-rehearsal-") as folder:
        given = _copied(Path(folder), now) | {name: str(getattr(settings, name)) for name in _SAID}
        return run_apart(words, given)


def run_apart(words: list[str], given: Mapping[str, str] | None = None) -> int:
    """Run this command in a process cut off from the clinic, which is given nothing but `given`; its exit status."""
    surroundings = {**os.environ, **{f"{GIVEN}{name}": value for name, value in (given or {}).items()}}
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "rehearse", *words]
    return subprocess.run(  # noqa: S603  # our own program, with words that were parsed
        command, env=surroundings | {"DJANGO_SETTINGS_MODULE": MODULE}, check=False
    ).returncode


def _copied(folder: Path, now: datetime) -> dict[str, str]:
    database = folder / "copy.sqlite3"
    given = {"DATABASE_URL": f"sqlite:///{database}", "DATA_FOLDER": str(folder)}
    if settings.DATABASES["default"]["ENGINE"].endswith("sqlite3"):
        copy_file(Path(settings.DATABASES["default"]["NAME"]), database)
        return given
    rows = folder / "rows.jsonl"
    copy_rows(rows, now)
    return given | {"ROWS": str(rows)}


def play_days(*, now: datetime, days: int, named: bool) -> list[Line]:
    """Play the coming days in the database at hand, a copy, from now (aware); what comes of it, in order.

    named: people and places by name, for a reader; otherwise by number. Messages that need nobody's answer go;
    nothing ends a tape. Messages settled before now, and tape that was off before, are left out.
    """
    # On whole minutes, so that what is due at nine is not said to go at 21 seconds past.
    starts_at = now.replace(second=0, microsecond=0) + TICK
    ends_at = starts_at + timedelta(days=days)
    worn = list(Application.objects.filter(ended_at=None).order_by("removal_day", "id").values_list("id", flat=True))
    Clockwork(Course(starts_at, ends_at, TICK), Ways()).run([])
    names = _names(named)
    return [
        *message_lines(Message.objects.filter(settled_at__gte=now), names),
        *application_lines(Application.objects.filter(pk__in=worn), names, ends_at),
        *call_lines(CallItem.objects.filter(closed_at=None), names),
    ]


def _names(named: bool) -> Names:
    tapes = list(Application.objects.order_by("removal_day", "id"))
    called = {one.pk: f"{place_words(one.region, one.side)} ({one.pk})" if named else one.pk for one in tapes}
    return Names(
        patients={pk: name if named else pk for pk, name in Patient.objects.values_list("pk", "full_name")},
        applications=called,
        visit_is_for={one.removal_visit_id: called[one.pk] for one in tapes if one.removal_visit_id},
    )
