"""What the grown set-up says when it starts, of Redis above all."""

import logging
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator

import pytest
import redis
from pytest_django import Settings

from clinic.models import Clinic
from clinic.zone_data import zone_data
from reminders.services.grown import eviction_policy, redis_keeps_all, tell_start
from reminders.services.health import health_now
from tests.factories.clinic import NOW
from tests.ports import started_on_a_quiet_port

pytestmark = pytest.mark.django_db

Server = Callable[[str], str]
SERVER = shutil.which("redis-server")
THROWS = "Redis throws keys away when its memory is full (maxmemory-policy is allkeys-lru)."
CURE = "Set maxmemory-policy noeviction."


@pytest.fixture
def server() -> Iterator[Server]:
    """server(policy): the address of a Redis of the test's own."""
    if SERVER is None:
        pytest.skip("redis-server is not installed")
    running: list[subprocess.Popen[bytes]] = []

    def start(policy: str) -> str:
        def begin(port: int) -> "subprocess.Popen[bytes]":
            words = ["--port", str(port), "--bind", "127.0.0.1", "--save", "", "--maxmemory-policy", policy]
            running.append(subprocess.Popen([str(SERVER), *words], stdout=subprocess.DEVNULL))
            return running[-1]

        port, _ = started_on_a_quiet_port(begin, _answers)
        return _address(port)

    yield start
    for one in running:
        one.kill()
        one.wait()


def _address(port: int) -> str:
    return f"redis://127.0.0.1:{port}/0"


def _answers(port: int) -> bool:
    for _ in range(100):
        try:
            return bool(redis.Redis.from_url(_address(port)).ping())
        except redis.RedisError:
            time.sleep(0.05)  # another program is starting
    return False


@pytest.mark.parametrize(("policy", "warned"), [("noeviction", []), ("allkeys-lru", [THROWS])])
def test_a_redis_that_throws_keys_away_is_warned_of(
    server: Server, settings: Settings, policy: str, warned: list[str]
) -> None:
    settings.REDIS_URL = server(policy)
    found = redis_keeps_all(None)
    assert eviction_policy() == policy
    assert [(one.id, one.msg, one.hint) for one in found] == [("wearwindow.W009", words, CURE) for words in warned]


def test_the_warning_is_in_the_log_at_the_start_and_on_the_health_page(
    server: Server, settings: Settings, clinic: Clinic, caplog: pytest.LogCaptureFixture
) -> None:
    settings.REDIS_URL = server("allkeys-lru")
    with caplog.at_level(logging.INFO):
        tell_start()
    assert [record.getMessage() for record in caplog.records] == [f"Time-zone data {zone_data()}", f"{THROWS} {CURE}"]
    assert health_now(now=NOW).wake_ups == f"{THROWS} {CURE}"


def test_without_redis_nobody_is_asked(settings: Settings) -> None:
    settings.REDIS_URL = ""
    assert (eviction_policy(), redis_keeps_all(None)) == ("", [])


def test_a_redis_that_is_gone_or_does_not_tell_is_no_obstacle(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, clinic: Clinic
) -> None:
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    assert eviction_policy() == ""
    tell_start()
    monkeypatch.setattr(redis.Redis, "info", lambda self, section: {"used_memory": 1})
    assert redis_keeps_all(None) == []
