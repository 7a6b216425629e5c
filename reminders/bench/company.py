"""Starts, asks and ends the processes of a measurement, and makes their databases."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parents[2]
HANDS, PEER = "reminders.bench.hands", "reminders.bench.peer"


class BenchError(RuntimeError):
    """A process of the measurement ended; the text is the last it said."""


class Hand:
    """A process that does one task after the other. ask waits for the answer; begin and answer do so apart."""

    def __init__(self, module: str, *words: str, environment: Mapping[str, str]) -> None:
        self._faults = tempfile.TemporaryFile("w+")  # noqa: SIM115  # closed with the process
        self.process = subprocess.Popen(  # noqa: S603  # our own modules
            [sys.executable, "-m", module, *words],
            cwd=ROOT, env=dict(environment), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._faults,
            text=True,
        )  # fmt: skip

    def line(self) -> str:
        """Its next line. Raises BenchError where it ended instead."""
        assert self.process.stdout is not None  # noqa: S101
        said = self.process.stdout.readline()
        if not said:
            self._faults.seek(0)
            last = (self._faults.read().strip().splitlines() or ["nothing was said"])[-1]
            raise BenchError(f"a process of the measurement ended: {last}")
        return said.strip()

    def begin(self, task: str, **options: Any) -> None:
        self.write(json.dumps({"task": task, **options}))

    def write(self, line: str) -> None:
        assert self.process.stdin is not None  # noqa: S101
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def answer(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.line())
        return found

    def ask(self, task: str, **options: Any) -> dict[str, Any]:
        self.begin(task, **options)
        return self.answer()

    def __enter__(self) -> "Hand":
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.process.kill()
        self.process.communicate()
        self._faults.close()


def environment_of(database: str, folder: Path) -> dict[str, str]:
    """Settings of the measurement's own: nothing of the clinic's can be found from there."""
    return {
        "PATH": os.environ.get("PATH", ""),
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "DATABASE_URL": database,
        "DATA_FOLDER": str(folder),
        "SECRET_KEY": "a key that guards nothing, for measurements alone 0123456789",
        "LINK_KEY": "another key that guards nothing, for measurements 0123456789",
        "PUBLIC_ADDRESS": "https://tape.example.org",
        "LOG_LEVEL": "ERROR",
    }


def hand(database: str, folder: Path) -> Hand:
    """A process ready for tasks."""
    made = Hand(HANDS, environment=environment_of(database, folder))
    made.answer()
    return made


class Server:
    """A PostgreSQL server, and databases on it that live as long as the measurement. Raises OSError where none is."""

    def __init__(self, address: str) -> None:
        import psycopg

        parts = urlsplit(address)
        self._base = f"{parts.scheme}://{parts.netloc}"
        self._prefix = parts.path.strip("/") or "wearwindow"
        try:
            self._connection = psycopg.connect(f"{self._base}/postgres", autocommit=True, connect_timeout=5)
        except psycopg.OperationalError as refused:
            raise OSError(str(refused).strip().splitlines()[0]) from refused

    @contextmanager
    def database(self, name: str, *, like: str = "") -> Iterator[str]:
        """Its address; like: the address of a database to copy, to which nobody is connected."""
        full = f"{self._prefix}_bench_{os.getpid()}_{name}"
        template = f' TEMPLATE "{urlsplit(like).path.strip("/")}"' if like else ""
        self._connection.execute(f'CREATE DATABASE "{full}"{template}')
        try:
            yield f"{self._base}/{full}"
        finally:
            self._connection.execute(f'DROP DATABASE IF EXISTS "{full}" WITH (FORCE)')

    def close(self) -> None:
        self._connection.close()
