"""Redis over TLS, and over a socket of this machine: the worker's way there, and the cache's, for real."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.ports import started_on_a_quiet_port

redis = pytest.importorskip("redis")

ROOT = Path(__file__).resolve().parents[2]
REDIS_SERVER = shutil.which("redis-server")
OPENSSL = shutil.which("openssl")

pytestmark = [
    pytest.mark.redis,
    pytest.mark.skipif(not (REDIS_SERVER and OPENSSL), reason="needs redis-server and openssl"),
]

ASK = """
import django; django.setup()
from django.core.cache import cache
from clinic.celery import app
def tried(act):
    try:
        return act()
    except Exception as refused:
        return type(refused).__name__ + (" certificate" if "CERTIFICATE_VERIFY_FAILED" in str(refused) else "")
def queued():
    with app.connection_for_write() as line:
        line.ensure_connection(max_retries=1, timeout=5)
        with line.SimpleQueue("test") as queue:
            queue.put({"went": "through"})
            taken = queue.get(timeout=5)
            taken.ack()
            return taken.payload["went"]
def number():
    with app.connection_for_write() as line:
        return line.default_channel.client.connection_pool.connection_kwargs["db"]
print(tried(queued), "|", tried(number), "|", tried(lambda: cache.set("a", "kept") or cache.get("a")))
"""


def asked(address: str, folder: Path) -> str:
    """What the worker's broker and the cache say there."""
    environment = {
        "PATH": os.environ["PATH"],
        "PYTHONPATH": str(ROOT),
        "DATA_FOLDER": str(folder),
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "REDIS_URL": address,
    }
    done = subprocess.run(
        [sys.executable, "-c", ASK], env=environment, cwd=ROOT, capture_output=True, text=True, check=False
    )
    return done.stdout.strip() or done.stderr


@pytest.fixture(scope="module")
def encrypted(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, Path]]:
    """The port of a Redis that speaks TLS alone, and its certificate, which nobody else stands for."""
    folder = tmp_path_factory.mktemp("tls")
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    subprocess.run(
        [str(OPENSSL), "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", str(key), "-out", str(certificate),
         "-days", "2", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"],
        check=True, capture_output=True,
    )  # fmt: skip

    def begin(port: int) -> "subprocess.Popen[bytes]":
        words = [
            str(REDIS_SERVER), "--port", "0", "--tls-port", str(port), "--bind", "127.0.0.1", "--save", "",
            "--tls-cert-file", str(certificate), "--tls-key-file", str(key), "--tls-auth-clients", "no",
            "--tls-ca-cert-file", str(certificate),
        ]  # fmt: skip
        return subprocess.Popen(words, stdout=subprocess.DEVNULL)

    def answers(port: int) -> bool:
        return _pings(f"rediss://localhost:{port}/0?ssl_ca_certs={certificate}")

    port, process = started_on_a_quiet_port(begin, answers)
    yield port, certificate
    process.kill()
    process.wait()


def _pings(address: str) -> bool:
    for _ in range(100):
        try:
            return bool(redis.Redis.from_url(address).ping())
        except redis.RedisError:
            time.sleep(0.05)  # another program is starting
    return False


def test_a_certificate_that_is_known_is_taken(encrypted: tuple[int, Path], tmp_path: Path) -> None:
    port, certificate = encrypted
    assert asked(f"rediss://localhost:{port}/0?ssl_ca_certs={certificate}", tmp_path) == "through | 0 | kept"


def test_a_certificate_nobody_stands_for_is_refused_by_the_worker_as_by_the_cache(
    encrypted: tuple[int, Path], tmp_path: Path
) -> None:
    said = asked(f"rediss://localhost:{encrypted[0]}/0", tmp_path)
    assert said == "OperationalError certificate | OperationalError certificate | ConnectionError certificate"


def test_a_socket_of_this_machine(tmp_path: Path) -> None:
    place = tmp_path / "redis.sock"
    words = [str(REDIS_SERVER), "--port", "0", "--unixsocket", str(place), "--save", ""]
    with subprocess.Popen(words, stdout=subprocess.DEVNULL) as process:
        assert _pings(f"unix://{place}")
        assert asked(f"unix://{place}", tmp_path) == "through | 0 | kept"
        assert asked(f"unix://{place}?db=2", tmp_path) == "through | 2 | kept"
        process.kill()
