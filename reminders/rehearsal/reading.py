"""Reads a scenario file, or says in one line what is wrong with it."""

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from reminders.rehearsal.parts import BadScenario, Part
from reminders.rehearsal.reading_clinic import read_clinic
from reminders.rehearsal.reading_events import read_event
from reminders.rehearsal.reading_people import read_application, read_patient, read_visit
from reminders.rehearsal.references import check_references
from reminders.rehearsal.scenario import USUAL_DAYS, USUAL_TICK, Scenario

_KEYS = ("clinic", "from", "until", "tick_seconds", "patients", "applications", "visits", "events")
LONGEST = timedelta(days=800)
MOST_TICK_SECONDS = 24 * 60 * 60


def read_file(path: Path) -> Scenario:
    """The scenario in a JSON file (UTF-8). Raises BadScenario, also for a file that is not there."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as gone:
        raise BadScenario("the file", f"cannot be read: {gone.strerror or 'no reason given'}") from gone
    except UnicodeDecodeError as unreadable:
        raise BadScenario("the file", f"is not UTF-8: byte {unreadable.start + 1} fits no character") from unreadable
    return read_text(text)


def read_text(text: str) -> Scenario:
    """The scenario in a JSON text. Raises BadScenario."""
    try:
        value = json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_number)
    except json.JSONDecodeError as unreadable:
        where = f"line {unreadable.lineno}, column {unreadable.colno}"
        raise BadScenario("the file", f"is no JSON at {where}: {unreadable.msg}") from unreadable
    except BadScenario:
        raise
    except (RecursionError, ValueError) as unreadable:
        raise BadScenario("the file", "is too deep, or holds a number that is too long") from unreadable
    return read_scenario(value)


def read_scenario(value: object) -> Scenario:
    """The scenario in a decoded file. Raises BadScenario."""
    file = Part(value, "", _KEYS)
    clinic = read_clinic(file)
    zone = clinic.time_zone
    patients = file.listed("patients", read_patient)
    applications = file.listed("applications", lambda item, path: read_application(item, path, zone))
    visits = file.listed("visits", lambda item, path: read_visit(item, path, zone))
    events = file.listed("events", lambda item, path: read_event(item, path, zone))
    moments = [one.applied_at for one in applications] + [one.at for one in events]
    starts_at = file.moment("from", zone, min(moments, default=None) or _nothing_to_play(file))
    ends_at = file.moment("until", zone, starts_at + timedelta(days=USUAL_DAYS))
    seconds = file.number("tick_seconds", int(USUAL_TICK.total_seconds()), 1, MOST_TICK_SECONDS)
    _check_span(file, starts_at, ends_at)
    scenario = Scenario(
        clinic=clinic,
        starts_at=starts_at,
        ends_at=ends_at,
        tick=timedelta(seconds=seconds),
        patients=tuple(patients),
        applications=tuple(applications),
        visits=tuple(visits),
        events=tuple(events),
    )
    check_references(scenario)
    return scenario


def _nothing_to_play(file: Part) -> datetime:
    # Only reached where the file names no moment at all; then the beginning must be said.
    return file.moment("from", read_clinic(file).time_zone)


def _check_span(file: Part, starts_at: datetime, ends_at: datetime) -> None:
    if ends_at < starts_at:
        raise file.refuse("until", f"is before the clock starts, {starts_at:%Y-%m-%dT%H:%M}Z")
    if ends_at - starts_at > LONGEST:
        raise file.refuse("until", f"is more than {LONGEST.days} days after the clock starts")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise BadScenario(key, "stands twice in one object")
        found[key] = value
    return found


def _no_number(word: str) -> float:
    raise BadScenario("the file", f"holds {word}, which is no number")
