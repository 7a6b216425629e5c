"""A long list of patients, read and written while somebody else works: how long it takes, and how long they wait."""

import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from reminders.bench.company import Server, hand
from reminders.bench.crowd import person_name, person_phone

LINES = (20_000, 200_000)
_PAUSE_S = 0.02
Say = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class Lists:
    """How many lines each list has."""

    lines: tuple[int, ...] = LINES
    server: str = ""


def measure(lists: Lists, folder: Path, say: Say) -> list[dict[str, Any]]:
    """One row a list and database. say gets a line for what is left out."""
    rows: list[dict[str, Any]] = []
    for lines in lists.lines:
        rows += _measured("sqlite", f"sqlite:///{folder / f'{lines}.sqlite3'}", lines, folder)
    try:
        server = Server(lists.server)
    except (OSError, ImportError) as missing:
        say(f"Left out: everything on PostgreSQL, no server at hand ({missing}). Set POSTGRES_SERVER.")
        return rows
    with ExitStack() as stack:
        stack.callback(server.close)
        databases = {lines: stack.enter_context(server.database(f"list{lines}")) for lines in lists.lines}
        for lines, address in databases.items():
            rows += _measured("postgresql", address, lines, folder)
    return rows


def list_make(path: Path, lines: int, note: str = "") -> None:
    """A list of invented people, one in a hundred of whom cannot be read. note: what it says of everybody."""
    with path.open("w", encoding="utf-8") as file:
        file.write("name,born,phone,email,external_id,note\n")
        for number in range(lines):
            born = date(1930, 1, 1) + timedelta(days=number * 7919 % 32_000)
            phone = "4.474E+11" if number % 100 == 99 else person_phone(number)
            file.write(f"{person_name(number)},{born},{phone},list{number}@example.org,L-{number},{note}\n")


def _measured(database: str, address: str, lines: int, folder: Path) -> list[dict[str, Any]]:
    """Everybody is new, and then one field of everybody has changed."""
    path, rows = folder / f"{lines}.csv", []
    with hand(address, folder) as reader, hand(address, folder) as clerk:
        reader.ask("prepare", tapes=1)
        for state, note in (("new", ""), ("changed", "moved here")):
            stop = folder / f"{database}-{lines}-{state}-written"
            list_make(path, lines, note)
            checked = reader.ask("list_check", path=str(path))
            clerk.begin("knock", stop=str(stop))
            written = reader.ask("list_write", state=state)
            stop.touch()
            told = {"database": database, "lines": lines, "state": state}
            rows.append({**told, **checked, **written, **clerk.answer()})
    return rows


def check(path: Path, now: Callable[[], Any]) -> Any:
    """Take the list in and check every line, as the pages do; returns it."""
    from clinic.models import PatientImport
    from clinic.services.events import Actor
    from clinic.services.imports import import_begin, import_check, import_choose

    actor = Actor(word="bench")
    with path.open("rb") as file:
        pieces = iter(lambda: file.read(512 * 1024), b"")
        of = import_begin(actor=actor, now=now(), file_name=path.name, pieces=pieces)
    of = import_choose(actor=actor, now=now(), of=of, codec="", delimiter=of.delimiter, mapping=None, order=None)
    while of.state == PatientImport.State.CHECKING:
        of = import_check(of=of, today=now().date(), chunks=10)
    return of


def knock(stop: Path, now: Callable[[], Any]) -> dict[str, Any]:
    """Write one small thing after the other, as a clerk's clicks do; the longest of them, and how many failed."""
    from django.db import OperationalError

    from clinic.models import Clinic
    from clinic.services.events import Actor, event_record

    clinic, longest, times, failed = Clinic.objects.get(), 0.0, 0, 0
    while not stop.exists():
        begun = time.perf_counter()
        try:
            event_record(actor=Actor(word="bench"), verb="bench.knocked", subject=clinic, now=now())
        except OperationalError:
            failed += 1
        longest, times = max(longest, time.perf_counter() - begun), times + 1
        time.sleep(_PAUSE_S)
    return {"others_waited_s": round(longest, 2), "others_wrote": times - failed, "others_failed": failed}
