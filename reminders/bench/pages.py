"""Every page over a small clinic and a full one, in turn, so that whatever else the machine does meets both."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from math import ceil
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

from reminders.bench.company import Hand, Server, hand
from reminders.bench.walk import PAGES

FULL_PATIENTS = 50_000
TAPES_EACH, VISITS_EACH = 4, 8
DAYS = 2_000
"""Over how many days a full clinic's tapes and visits are spread; a small one has a hundredth of them."""
SMALL = 100
Say = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class Scale:
    """patients: of the full clinic; each has four tapes, eight visits and twenty messages. walks: over all pages.

    sqlite: on SQLite also where a PostgreSQL server is at hand, with a tenth of the patients.
    """

    patients: int = FULL_PATIENTS
    walks: int = 60
    server: str = ""
    sqlite: bool = False


def size_of(patients: int, full: int) -> dict[str, int]:
    """How much so many patients come to, in a clinic that will have full of them."""
    a_day = max(1, full * TAPES_EACH // DAYS)
    tapes, visits = patients * TAPES_EACH, patients * VISITS_EACH
    return {"patients": patients, "tapes": tapes, "visits": visits, "tapes_a_day": a_day, "visits_a_day": 2 * a_day}


def measure(scale: Scale, folder: Path, say: Say) -> list[dict[str, Any]]:
    """One row a page. On PostgreSQL; where no server is at hand on SQLite, with a tenth, and say is told."""
    if scale.sqlite:
        say("On SQLite and with a tenth, as asked.")
        return _on_files(scale, folder, say)
    try:
        server = Server(scale.server)
    except (OSError, ImportError) as missing:
        say(f"On SQLite and with a tenth: no PostgreSQL server at hand ({missing}). Set POSTGRES_SERVER.")
        return _on_files(scale, folder, say)
    with ExitStack() as stack:
        stack.callback(server.close)
        return _measured(server, scale.patients, scale.walks, folder, say)


def _on_files(scale: Scale, folder: Path, say: Say) -> list[dict[str, Any]]:
    return _measured(Files(folder), max(SMALL * 5, scale.patients // 10), scale.walks, folder, say)


class Files:
    """SQLite databases that live as long as the measurement."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @contextmanager
    def database(self, name: str, *, like: str = "") -> Iterator[str]:
        file = self._folder / f"{name}.sqlite3"
        if like:
            with (
                closing(sqlite3.connect(like.removeprefix("sqlite:///"))) as source,
                closing(sqlite3.connect(file)) as own,
            ):
                source.backup(own)
        yield f"sqlite:///{file}"


def _measured(server: Server | Files, patients: int, walks: int, folder: Path, say: Say) -> list[dict[str, Any]]:
    small, full = size_of(max(1, patients // SMALL), patients), size_of(patients, patients)
    with ExitStack() as stack:
        small_address = stack.enter_context(server.database("small"))
        with hand(small_address, folder) as clerk:
            clerk.ask("crowd", size=small)
        full_address = stack.enter_context(server.database("full", like=small_address))
        begun = perf_counter()
        with hand(full_address, folder) as clerk:
            clerk.ask("crowd", size=full, beside=small)
        say(f"{full['patients']:,} patients were put in within {perf_counter() - begun:.0f} s.")
        hands = [stack.enter_context(hand(address, folder)) for address in (small_address, full_address)]
        sizes = (small, full)
        for one, size in zip(hands, sizes, strict=True):
            one.ask("look", patients=size["patients"])
        return _rows(*_walked(hands, walks))


def _walked(hands: list[Hand], walks: int) -> list[dict[str, list[tuple[float, int]]]]:
    """What each saw, page by page; they go in turn, and never both at once."""
    found: list[dict[str, list[tuple[float, int]]]] = [{page.name: [] for page in PAGES} for _ in hands]
    for _ in range(walks):
        for one, seen in zip(hands, found, strict=True):
            for name, (ms, count) in one.ask("walk")["pages"].items():
                seen[name].append((ms, count))
    return found


def _rows(small: dict[str, list[tuple[float, int]]], full: dict[str, list[tuple[float, int]]]) -> list[dict[str, Any]]:
    return [
        {
            "page": page.name,
            "queries": max(count for _, count in (*small[page.name], *full[page.name])),
            **_times("small", small[page.name]),
            **_times("full", full[page.name]),
        }
        for page in PAGES
    ]


def _times(which: str, seen: list[tuple[float, int]]) -> dict[str, float]:
    taken = sorted(ms for ms, _ in seen)
    p95 = taken[ceil(0.95 * len(taken)) - 1]
    return {f"p50_ms_{which}": round(median(taken), 2), f"p95_ms_{which}": round(p95, 2)}
