"""Two workers, each with a beat of its own, on bad days of Redis and PostgreSQL: each message comes once."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.faults.conftest import LEASE_SECONDS, ROOT, Worker
from tests.faults.servers import Arrivals, SmsDesk
from tests.ports import started_on_a_quiet_port

psycopg = pytest.importorskip("psycopg", reason="needs the extra postgres")
redis = pytest.importorskip("redis")

POSTGRES = os.environ.get("POSTGRES_SERVER", "")
REDIS_SERVER = shutil.which("redis-server")
PATIENCE_SECONDS = 90
ON_TIME = 30.0
"""Seconds after it was due; the workers' own start, and Redis away and found again, took up to half of it."""
OTHER: dict[str, Any] = {"safety": False, "channel": "sms"}

pytestmark = [
    pytest.mark.postgres,
    pytest.mark.redis,
    pytest.mark.skipif(not (POSTGRES and REDIS_SERVER), reason="set POSTGRES_SERVER, with redis-server installed"),
]


class Redis:
    """A Redis of the test's own, which may be stopped and started again at the same address."""

    def __init__(self) -> None:
        self.port, self._process = started_on_a_quiet_port(self._begin, self._answers)
        self.address = _address(self.port)

    def start(self) -> None:
        self._process = self._begin(self.port)
        assert self._answers(self.port)

    @staticmethod
    def _begin(port: int) -> "subprocess.Popen[bytes]":
        words = [str(REDIS_SERVER), "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        return subprocess.Popen(words, stdout=subprocess.DEVNULL)

    def stop(self) -> None:
        self._process.kill()
        self._process.wait()

    def flush(self) -> None:
        redis.Redis.from_url(self.address).flushall()

    @staticmethod
    def _answers(port: int) -> bool:
        def asked() -> bool:
            try:
                return bool(redis.Redis.from_url(_address(port)).ping())
            except redis.RedisError:
                return False

        return until(asked)


def _address(port: int) -> str:
    return f"redis://127.0.0.1:{port}/0"


def until(condition: Callable[[], bool]) -> bool:
    """Whether it comes true in time; other programs are at work meanwhile."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < deadline:
        if condition():
            return True
        time.sleep(0.2)
    return False


@pytest.fixture(scope="module")
def database() -> Iterator[str]:
    name = f"ww_bad_days_{os.getpid()}"
    with psycopg.connect(f"{POSTGRES}/postgres", autocommit=True) as server:
        server.execute(f"drop database if exists {name} with (force)")
        server.execute(f"create database {name}")
    yield name
    with psycopg.connect(f"{POSTGRES}/postgres", autocommit=True) as server:
        server.execute(f"drop database if exists {name} with (force)")


@pytest.fixture(scope="module")
def broker() -> Iterator[Redis]:
    made = Redis()
    yield made
    made.stop()


@pytest.fixture(scope="module")
def arrivals() -> Arrivals:
    return Arrivals()


@pytest.fixture(scope="module")
def outbox(
    database: str, broker: Redis, arrivals: Arrivals, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Worker]:
    """Makes messages and looks at them, while two real workers with two beats send them to a gateway."""
    folder, desk = tmp_path_factory.mktemp("grown"), SmsDesk(arrivals)
    end = desk.start()
    surroundings = {
        **os.environ,
        "DATABASE_URL": f"{POSTGRES}/{database}",
        "REDIS_URL": broker.address,
        "DATA_FOLDER": str(folder),
        "SMS_GATEWAY_URL": f"http://127.0.0.1:{desk.port}/messages",
        "SMS_GATEWAY_TOKEN": "s3cret",
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "PYTHONPATH": str(ROOT),
    }
    subprocess.run([sys.executable, "manage.py", "migrate", "--verbosity", "0"], env=surroundings, cwd=ROOT, check=True)
    orders = Worker(surroundings, folder / "orders")
    orders.order("clear")
    running = [_started(name, surroundings, folder) for name in ("one", "two")]
    yield orders
    for one in running:
        one.send_signal(signal.SIGTERM)
    for one in running:
        one.wait(60)
    orders.end()
    end()


def _started(name: str, surroundings: dict[str, str], folder: Path) -> "subprocess.Popen[bytes]":
    with (folder / name).open("w") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "celery", "-A", "clinic", "worker", "-n", f"{name}@here", "-c", "1",
             "-B", "-s", str(folder / f"beat-{name}")],
            env=surroundings, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=log,
        )  # fmt: skip


def all_sent_once(outbox: Worker, arrivals: Arrivals, number: int, *, within: float) -> bool:
    """Waits for it; whether they came, each once, and none later than so many seconds after it was due."""
    came = until(lambda: outbox.rows().states == {"sent": number})
    late = max((row["settled_at"] - row["wake_at"]).total_seconds() for row in outbox.rows().of("sent"))
    assert late < within, f"{late:.1f} s late"
    return came and sorted(arrivals.keys.values()) == [1] * number


@pytest.fixture(autouse=True)
def empty(outbox: Worker, arrivals: Arrivals) -> None:
    outbox.order("clear")
    arrivals.clear()


def test_two_beats_and_two_workers_send_each_message_once(outbox: Worker, arrivals: Arrivals) -> None:
    outbox.make(*[OTHER] * 40)
    assert all_sent_once(outbox, arrivals, 40, within=ON_TIME)


def test_a_redis_that_is_flushed_again_and_again_loses_nothing(
    outbox: Worker, arrivals: Arrivals, broker: Redis
) -> None:
    outbox.make(*[OTHER | {"in_seconds": number} for number in range(10)])
    for _ in range(30):
        broker.flush()
        time.sleep(0.1)
    assert all_sent_once(outbox, arrivals, 10, within=ON_TIME)


def test_a_redis_that_was_away_is_found_again_by_itself(outbox: Worker, arrivals: Arrivals, broker: Redis) -> None:
    broker.stop()
    outbox.make(*[OTHER] * 5)
    time.sleep(3)  # longer than it takes both to notice
    assert not arrivals.keys
    broker.start()
    assert all_sent_once(outbox, arrivals, 5, within=ON_TIME)


def test_a_postgresql_that_is_restarted_loses_and_doubles_nothing(
    outbox: Worker, arrivals: Arrivals, database: str
) -> None:
    """Every connection is cut, as a restart cuts it, again and again; for a while none is let in either."""
    outbox.make(*[OTHER | {"in_seconds": number // 20} for number in range(100)])
    with psycopg.connect(f"{POSTGRES}/postgres", autocommit=True) as server:
        for allowed in (True, False, True):
            server.execute(f"alter database {database} with allow_connections {str(allowed).lower()}")
            for _ in range(5):
                server.execute("select pg_terminate_backend(pid) from pg_stat_activity where datname = %s", [database])
                time.sleep(0.3)
    assert all_sent_once(outbox, arrivals, 100, within=LEASE_SECONDS + ON_TIME)
