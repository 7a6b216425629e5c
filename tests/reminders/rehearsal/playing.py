"""Small scenarios for the tests, and their lines."""

import copy
from collections.abc import Callable
from typing import Any

from django.core.management.color import no_style
from django.db import connection, transaction

from reminders.rehearsal.lines import Line, Names, all_lines
from reminders.rehearsal.play import play
from reminders.rehearsal.reading import read_scenario
from reminders.rehearsal.ways import Handed

APPS = ("clinic_", "taping_", "reminders_")
PATIENT = {"ref": "p", "name": "Ada Quill", "call_me": "Ada", "phone": "+12125550123", "email": "ada@example.org"}
TAPE = {"ref": "a", "patient": "p", "region": "knee", "side": "left", "applied_at": "2027-03-02T15:00:00Z"}
WEEK = {
    "clinic": {"time_zone": "America/New_York"},
    "from": "2027-03-02T13:00:00Z",
    "until": "2027-03-12T05:00:00Z",
    "patients": [PATIENT],
    "applications": [TAPE],
}
"""Tape on Tuesday 2 March 2027, 10:00 in New York; its window is 6 and 7 March, before the clock change of 14 March."""


def week(*happening: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """The usual scenario with these events; changes replace its top-level keys."""
    return copy.deepcopy({**WEEK, "events": list(happening), **changes})


def patient(**changes: Any) -> dict[str, Any]:
    return {**PATIENT, **changes}


def tape(**changes: Any) -> dict[str, Any]:
    return {**TAPE, **changes}


def played(scenario: dict[str, Any], *, skip: bool = True) -> tuple[list[Line], list[str], list[Handed]]:
    """The lines of a scenario, what was refused on the way, and what was handed over to either channel."""
    read = read_scenario(scenario)
    told: list[str] = []
    company, ways = play(read, tell=told.append, skip=skip)
    return list(all_lines(Names.of(company, read), read.ends_at)), told, ways.handed


def messages(lines: list[Line], *, kind: str = "") -> list[tuple[str, str, str | None]]:
    """(kind, state, at) of the messages, in their order."""
    rows = [line for line in lines if line["type"] == "message" and kind in ("", line["kind"])]
    return [(line["kind"], line["state"], line["at"]) for line in rows]


def calls(lines: list[Line]) -> list[tuple[str, str | None, str]]:
    """(reason, tape, since) of the open calls."""
    return [(line["reason"], line["application"], line["since"]) for line in lines if line["type"] == "call"]


def tapes(lines: list[Line]) -> list[tuple[str, str, str | None, str | None]]:
    """(ref, state, ended_at, ended_how) of the tapes."""
    rows = [line for line in lines if line["type"] == "application"]
    return [(line["ref"], line["state"], line["ended_at"], line["ended_how"]) for line in rows]


class _Over(Exception):
    pass


def _count_from_one() -> None:
    """A play begins in a new database. PostgreSQL's counters survive what is undone, and a row's number jitters."""
    ours = [one for one in connection.introspection.sequence_list() if one["table"].startswith(APPS)]
    with connection.cursor() as cursor:
        for sql in connection.ops.sequence_reset_by_name_sql(no_style(), ours):
            cursor.execute(sql)


def played_apart(
    scenario: dict[str, Any], *, skip: bool = True, then: Callable[[], None] = lambda: None
) -> tuple[list[Line], list[str], list[Handed]]:
    """As played, in a transaction that is undone: for another play in the same test. then looks at the rows first."""
    result: tuple[list[Line], list[str], list[Handed]] | None = None
    try:
        with transaction.atomic():
            _count_from_one()
            result = played(scenario, skip=skip)
            then()
            raise _Over
    except _Over:
        assert result is not None
        return result
