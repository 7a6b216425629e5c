"""The grown set-up for real: a Celery worker with beat on Redis, PostgreSQL, one due message."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

psycopg = pytest.importorskip("psycopg", reason="needs the extra postgres")
redis = pytest.importorskip("redis")

ROOT = Path(__file__).resolve().parents[2]
POSTGRES = os.environ.get("POSTGRES_SERVER", "")
REDIS = os.environ.get("REDIS_SERVER", "")
PATIENCE_SECONDS = 60

pytestmark = [
    pytest.mark.postgres,
    pytest.mark.redis,
    pytest.mark.skipif(not (POSTGRES and REDIS), reason="set POSTGRES_SERVER and REDIS_SERVER to run the grown set-up"),
]

MAKE_ONE_DUE = """
import django; django.setup()
from datetime import timedelta
from django.utils import timezone
from clinic.models import Clinic
from tests.factories import ApplicationFactory
clinic = Clinic(name="Harbour Lane Clinic", telephone="(212) 555-0100", emergency_number="911")
local = timezone.now().astimezone(clinic.zone)
clinic.quiet_from, clinic.quiet_until = (local + timedelta(hours=9)).time(), (local + timedelta(hours=10)).time()
clinic.save()
ApplicationFactory(applied_at=timezone.now() - timedelta(minutes=1))
"""
WHOSE = """
import django; django.setup()
from reminders.services.links import link_token
from taping.models import Application
tape = Application.objects.select_related("patient").get()
print(tape.patient.full_name, tape.patient.phone, tape.patient.email, link_token(tape), sep="\\n")
"""
COUNT = """
import django; django.setup()
from reminders.models import Message
print(Message.objects.filter(kind="aftercare", state="sent").count(), Message.objects.filter(state="sent").count())
"""


@pytest.fixture
def surroundings(tmp_path: Path) -> Iterator[dict[str, str]]:
    """Environment of a grown clinic in a database and a Redis database of its own, quiet hours never now."""
    name = f"wearwindow_grown_{os.getpid()}"
    with psycopg.connect(f"{POSTGRES}/postgres", autocommit=True) as server:
        server.execute(f"drop database if exists {name}")
        server.execute(f"create database {name}")
    redis.Redis.from_url(REDIS).flushdb()
    yield {
        **os.environ,
        "DATABASE_URL": f"{POSTGRES}/{name}",
        "REDIS_URL": REDIS,
        "DATA_FOLDER": str(tmp_path),
        "LOG_LEVEL": "INFO",
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "PYTHONPATH": str(ROOT),
    }
    with psycopg.connect(f"{POSTGRES}/postgres", autocommit=True) as server:
        server.execute(f"drop database if exists {name} with (force)")


def _python(surroundings: dict[str, str], *words: str) -> str:
    done = subprocess.run(
        [sys.executable, *words], env=surroundings, cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_worker_and_beat_send_one_due_message_once(surroundings: dict[str, str], tmp_path: Path) -> None:
    _python(surroundings, "manage.py", "migrate", "--verbosity", "0")
    _python(surroundings, "-c", MAKE_ONE_DUE)
    log = (tmp_path / "log").open("w")
    worker = subprocess.Popen(
        [sys.executable, "-m", "celery", "-A", "clinic", "worker", "-B", "-s", str(tmp_path / "beat"), "-c", "2"],
        env=surroundings, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=log,
    )  # fmt: skip
    try:
        deadline = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < deadline and _python(surroundings, "-c", COUNT).split()[0] != "1":
            assert worker.poll() is None, (tmp_path / "log").read_text()
        assert _python(surroundings, "-c", COUNT).split() == ["1", "1"], (tmp_path / "log").read_text()
        assert len(list((tmp_path / "outbox").iterdir())) == 1
    finally:
        worker.terminate()
        worker.wait(timeout=30)
        log.close()
    said = (tmp_path / "log").read_text()
    assert "Time-zone data" in said
    whose = _python(surroundings, "-c", WHOSE).split("\n")[:4]
    assert all(whose)
    assert [secret for secret in whose if secret in said] == []
