"""A real worker process, a database of its own, a mail server and an SMS gateway."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP

from tests.faults.servers import Arrivals, SmsDesk

ROOT = Path(__file__).resolve().parents[2]
POSTGRES = os.environ.get("POSTGRES_SERVER", "")
LEASE_SECONDS = 60.0
"""The product's own, which the tests of single steps leave as it is."""

Row = dict[str, Any]


@dataclass
class Rows:
    """The outbox and the call list at one moment."""

    rows: list[Row]
    calls: list[str]

    def of(self, state: str) -> list[Row]:
        return [row for row in self.rows if row["state"] == state]

    @property
    def states(self) -> Counter[str]:
        return Counter(row["state"] for row in self.rows)


class Worker:
    """The test's side of the worker program: gives orders, reads answers, kills."""

    def __init__(self, surroundings: dict[str, str], log: Path) -> None:
        self._log = log
        self._errors = log.open("w")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.worker"],
            env=surroundings, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._errors, text=True,
        )  # fmt: skip

    def order(self, do: str, **values: Any) -> dict[str, Any]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps({"do": do, **values}) + "\n")
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._process.stdout.readline() or '{"broken": "the worker is gone"}')
        assert "broken" not in answer, f"{answer['broken']}\n{self.log}"
        return answer

    @property
    def log(self) -> str:
        return self._log.read_text()

    def make(self, *messages: dict[str, Any]) -> None:
        self.order("make", messages=list(messages))

    def rows(self) -> Rows:
        found = self.order("rows")
        for row in found["rows"]:
            row["key"] = UUID(row["key"])
            for name in ("settled_at", "wake_at", "expires_at", "lease_until"):
                row[name] = row[name] and datetime.fromisoformat(row[name])
        return Rows(found["rows"], found["calls"])

    def start(self, stop_at: str = "", nth: int = 1) -> int:
        """A process of the real command, which stops at the nth time it comes to that place; its id."""
        return int(self.order("work", stop_at=stop_at, nth=nth)["pid"])

    def stopped(self) -> bool:
        """Waits until the process stands still at its place."""
        return bool(self.order("wait")["stopped"])

    def kill(self, pid: int) -> None:
        """No handler, no farewell: what SIGKILL does."""
        os.kill(pid, signal.SIGKILL)
        assert self.order("wait") == {"stopped": False, "signal": signal.SIGKILL}

    def killed_at(self, place: str, nth: int = 1) -> None:
        pid = self.start(place, nth)
        assert self.stopped(), f"never came to {place}\n{self.log}"
        self.kill(pid)

    def end(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(30)
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._errors.close()


def _made_postgres() -> tuple[str, Callable[[], None]]:
    psycopg = pytest.importorskip("psycopg", reason="needs the extra postgres")
    name = f"ww_faults_{os.getpid()}"

    def drop() -> None:
        with psycopg.connect(f"{POSTGRES}/postgres", autocommit=True) as server:
            server.execute(f"drop database if exists {name} with (force)")

    drop()
    with psycopg.connect(f"{POSTGRES}/postgres", autocommit=True) as server:
        server.execute(f"create database {name}")
    return f"{POSTGRES}/{name}", drop


@pytest.fixture(scope="session", params=["sqlite", "postgres"])
def database(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a migrated database that no other test uses."""
    drop: Callable[[], None] = lambda: None  # noqa: E731
    if request.param == "sqlite":
        # In memory where there is such a folder: SIGKILL takes nothing from a file that was written, only slowness.
        memory = Path("/dev/shm")
        folder = Path(tempfile.mkdtemp(prefix="ww-faults-", dir=memory if memory.is_dir() else None))
        url, drop = f"sqlite:///{folder / 'clinic.sqlite3'}", lambda: shutil.rmtree(folder)
    elif POSTGRES:
        url, drop = _made_postgres()
    else:
        pytest.skip("set POSTGRES_SERVER to run the faults on PostgreSQL")
    data = tmp_path_factory.mktemp("data")
    done = subprocess.run(
        [sys.executable, "manage.py", "migrate", "--verbosity", "0"],
        env=_surroundings(url, data), cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    yield url
    drop()


def _surroundings(database: str, folder: Path, **more: str) -> dict[str, str]:
    return {
        **os.environ,
        "DATABASE_URL": database,
        "DATA_FOLDER": str(folder),
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "LOG_LEVEL": "CRITICAL",
        "PYTHONPATH": str(ROOT),
        **more,
    }


class _Controller(Controller):
    def factory(self) -> SMTP:
        return SMTP(self.handler, **self.SMTP_kwargs)


@pytest.fixture(scope="session")
def _all_arrivals() -> Arrivals:
    return Arrivals()


@pytest.fixture(scope="session")
def _desk(_all_arrivals: Arrivals) -> Iterator[SmsDesk]:
    desk = SmsDesk(_all_arrivals)
    end = desk.start()
    yield desk
    end()


@pytest.fixture(scope="session")
def _mail_port(_all_arrivals: Arrivals) -> Iterator[int]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    controller = _Controller(_all_arrivals.mailbox, hostname="127.0.0.1", port=port)
    controller.start()
    yield port
    controller.stop()


@pytest.fixture(scope="session")
def ways_out(_desk: SmsDesk, _mail_port: int) -> dict[str, str]:
    """The settings that lead to the two servers."""
    return {
        "EMAIL_URL": f"smtp://127.0.0.1:{_mail_port}",
        "SMS_GATEWAY_URL": f"http://127.0.0.1:{_desk.port}/messages",
        "SMS_GATEWAY_TOKEN": "s3cret",
    }


@pytest.fixture
def arrivals(_all_arrivals: Arrivals) -> Arrivals:
    """What came since the test began."""
    _all_arrivals.clear()
    return _all_arrivals


@pytest.fixture
def sms(_desk: SmsDesk, arrivals: Arrivals) -> SmsDesk:
    _desk.clear()
    return _desk


@pytest.fixture(scope="session")
def _worker(database: str, ways_out: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Worker]:
    folder = tmp_path_factory.mktemp("worker")
    worker = Worker(_surroundings(database, folder, **ways_out), folder / "log")
    yield worker
    worker.end()


@pytest.fixture
def worker(_worker: Worker, sms: SmsDesk) -> Worker:
    """The worker program with an empty clinic, a lease of a minute and the usual batches."""
    _worker.order("clear")
    _worker.order("tune", lease_seconds=LEASE_SECONDS, batch=100)
    sms.arrivals.clear()
    return _worker
