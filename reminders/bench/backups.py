"""A clinic of many years saved, read again and brought back: seconds and the most memory held, in clear and encrypted.

Each step is the command itself, in a process of its own. PostgreSQL's own memory is not in the figures.
"""

import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread
from time import perf_counter
from typing import Any

from clinic.backup.packing import key_make
from reminders.bench.company import ROOT, BenchError, Server, environment_of, hand
from reminders.bench.pages import FULL_PATIENTS, Files, size_of

PART = 10
"""On SQLite a tenth is measured first, and the whole where it would take no longer than LONGEST_S."""
LONGEST_S = 600.0
LOOK_EVERY_S = 0.02
Say = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class Years:
    """patients: each has twenty messages, four tapes and eight visits."""

    patients: int = FULL_PATIENTS
    server: str = ""


def measure(years: Years, folder: Path, say: Say) -> Iterator[dict[str, Any]]:
    """One row for each database, way of keeping and step, as soon as it is there."""
    files = Files(folder)
    try:
        server = Server(years.server)
    except (OSError, ImportError) as missing:
        say(f"Left out: everything on PostgreSQL, no server at hand ({missing}). Set POSTGRES_SERVER.")
    else:
        with ExitStack() as stack:
            stack.callback(server.close)
            yield from _measured("postgresql", server, years.patients, folder, say)
    part = max(1, years.patients // PART)
    begun = perf_counter()
    yield from _measured("sqlite", files, part, folder, say)
    whole_s = (perf_counter() - begun) * years.patients / part
    if whole_s > LONGEST_S:
        say(f"On SQLite a part alone, {part:,} patients: all would take {whole_s / 60:.0f} minutes.")
    else:
        yield from _measured("sqlite", files, years.patients, folder, say)


def _measured(database: str, places: Server | Files, patients: int, folder: Path, say: Say) -> Iterator[dict[str, Any]]:
    with ExitStack() as stack:
        address = stack.enter_context(places.database(f"full{patients}"))
        begun = perf_counter()
        with hand(address, folder) as clerk:
            clerk.ask("crowd", size=size_of(patients, patients))
        say(f"{patients:,} patients were put into {database} within {perf_counter() - begun:.0f} s.")
        for way, key in (("plain", ""), ("encrypted", key_make())):
            kept = folder / f"{database}-{patients}-{way}"
            environment = environment_of(address, folder) | {"BACKUP_KEY": key}
            empty = stack.enter_context(places.database(f"{way}{patients}"))
            same = {"database": database, "patients": patients, "way": way}
            made = run(["backup", "--to", str(kept), "--json"], environment)
            file = Path(made.pop("told")["file"])
            same |= {"messages": made["messages"], "rows": made["rows"], "file_mb": round(file.stat().st_size / 1e6, 1)}
            yield {**same, "step": "backup", **_figures(made)}
            yield {**same, "step": "verify", **_figures(run(["restore", str(file), "--check", "--json"], environment))}
            elsewhere = environment | {"DATABASE_URL": empty}
            yield {**same, "step": "restore", **_figures(run(["restore", str(file), "--json"], elsewhere))}
            file.unlink()


def _figures(ran: dict[str, Any]) -> dict[str, Any]:
    return {"seconds": ran["seconds"], "memory_mb": ran["memory_mb"]}


def run(words: list[str], environment: dict[str, str]) -> dict[str, Any]:
    """One command: what it told, its seconds, and the most memory that it and its children held, added up.

    Raises BenchError with its last line where it failed.
    """
    begun = perf_counter()
    command = [sys.executable, str(ROOT / "manage.py"), *words]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, env=environment, stdout=pipe, stderr=pipe, text=True) as process:  # noqa: S603
        with Memory(process.pid) as memory:
            out, faults = process.communicate()
        seconds = perf_counter() - begun
    if process.returncode:
        raise BenchError(f"{words[0]} failed: {(faults.strip().splitlines() or ['nothing was said'])[-1]}")
    told = json.loads(out)
    return {
        "seconds": round(seconds, 1),
        "memory_mb": round(memory.most_kb / 1024, 1),
        "rows": told["rows"],
        "messages": told["tables"]["reminders_message"]["rows"],
        "told": told,
    }


class Memory:
    """Watches a process and those it starts. What is held between two looks is seen: the system keeps the most."""

    def __init__(self, pid: int) -> None:
        self._pid, self._stop = pid, Event()
        self._most: dict[int, int] = {}
        self._thread = Thread(target=self._watch, daemon=True)

    @property
    def most_kb(self) -> int:
        return sum(self._most.values())

    def _watch(self) -> None:
        while not self._stop.wait(LOOK_EVERY_S):
            self._look(self._pid)

    def _look(self, pid: int) -> None:
        try:
            status = Path(f"/proc/{pid}/status").read_text()
            children = Path(f"/proc/{pid}/task/{pid}/children").read_text()
        except OSError:  # it has ended
            return
        for line in status.splitlines():
            if line.startswith("VmHWM:"):
                self._most[pid] = max(self._most.get(pid, 0), int(line.split()[1]))
        for child in children.split():
            self._look(int(child))

    def __enter__(self) -> "Memory":
        self._thread.start()
        return self

    def __exit__(self, *ended: object) -> None:
        self._stop.set()
        self._thread.join()
