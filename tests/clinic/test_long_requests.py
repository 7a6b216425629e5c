"""An upload of two gigabytes: refused by what it tells and by counting, answered in words, by both servers."""

import os
import re
import resource
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.conf import settings as running
from django.test import Client
from django.urls import reverse

from clinic.models import Clinic
from clinic.services.import_file import MOST_BYTES

ROOT = Path(__file__).resolve().parents[2]
GIGABYTE = 1024**3
SERVERS = {
    "serve": ["manage.py", "serve", "--port", "0"],
    "gunicorn": ["-m", "gunicorn", "clinic.wsgi:application", "--bind", "127.0.0.1:0", "--threads", "4"],
}

PIDS: dict[int, int] = {}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "length", "status"),
    [
        ("/patients/import/", 2 * GIGABYTE, 413),
        ("/patients/import/", 61 * 1024**2 + 1, 413),
        ("/patients/import/", 60 * 1024**2, 302),
        ("/patients/add/", 3 * 1024**2 + 1, 413),
        ("/log-in/", 2 * GIGABYTE, 413),
        ("/patients/add/", 1000, 302),
    ],
)
def test_by_its_length_and_to_strangers_too(
    client: Client, clinic: Clinic, address: str, length: int, status: int
) -> None:
    """302 leads a stranger to the log-in: it is as long as it may be."""
    answer = client.generic("POST", address, b"", content_type="text/plain", CONTENT_LENGTH=str(length))
    assert answer.status_code == status


def test_a_list_as_large_as_its_page_says_fits() -> None:
    assert running.LONGEST_REQUEST > MOST_BYTES


@pytest.mark.django_db
def test_the_words(client: Client, clinic: Clinic) -> None:
    answer = client.generic("POST", reverse("import_begin"), b"", CONTENT_LENGTH=str(2 * GIGABYTE))
    page = " ".join(answer.content.decode().split())
    assert "This is too large: at most 60 MB" in page
    assert "was not read. Nothing was kept or changed." in page
    assert answer.headers["Cache-Control"] == "no-store, private"


@pytest.mark.django_db
def test_a_form_that_is_too_long_leads_back_to_what_was_typed(client: Client, clinic: Clinic) -> None:
    answer = client.generic("POST", reverse("patient_add"), b"", CONTENT_LENGTH=str(4 * 1024**2))
    page = " ".join(answer.content.decode().split())
    assert "This is too large: at most 2 MB" in page
    assert "use your browser's Back" in page
    assert "list of patients" not in page


@contextmanager
def served(name: str, folder: Path, *, longest_file: int = resource.RLIM_INFINITY) -> Iterator[int]:
    environment = {
        "PATH": os.environ["PATH"],
        "DATA_FOLDER": str(folder),
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "PYTHONUNBUFFERED": "1",
    }
    with (folder / "said").open("w") as said:
        process = subprocess.Popen(
            [sys.executable, *SERVERS[name]], cwd=ROOT, env=environment, stdout=said, stderr=said
        )
        resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (longest_file, resource.RLIM_INFINITY))
        try:
            port = _port_told(process, folder / "said")
            PIDS[port] = process.pid
            yield port
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(30)


def _port_told(process: "subprocess.Popen[bytes]", said: Path) -> int:
    """The port that the system gave the server, which it tells once it listens."""
    while process.poll() is None:
        told = re.search(r"(?:is|Listening) at:? http://127\.0\.0\.1:(\d+)", said.read_text())
        if told:
            return int(told[1])
        time.sleep(0.05)
    raise AssertionError(said.read_text())


def post(port: int, headers: str, body: Iterator[bytes]) -> str:
    """What comes back for a body that is sent to its end; "" where the server hung up."""
    heading = f"POST /patients/import/ HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{headers}\r\n\r\n"
    with socket.create_connection(("127.0.0.1", port), timeout=60) as line:
        line.sendall(heading.encode())
        for piece in body:
            line.sendall(piece)
        answer = b""
        while b"</html>" not in answer and (more := line.recv(65536)):
            answer += more
    return " ".join(answer.decode().split())


def zeros(count: int) -> Iterator[bytes]:
    piece = bytes(1 << 20)
    for _ in range(count // len(piece)):
        yield piece


def chunks(count: int) -> Iterator[bytes]:
    for piece in zeros(count):
        yield b"%x\r\n%b\r\n" % (len(piece), piece)
    yield b"0\r\n\r\n"


@pytest.fixture(scope="module", params=SERVERS)
def server(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, int]]:
    folder = tmp_path_factory.mktemp(request.param)
    if request.param == "gunicorn":
        pytest.importorskip("gunicorn")
        environment = {"PATH": os.environ["PATH"], "DATA_FOLDER": str(folder)}
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=environment, check=True)
    with served(request.param, folder) as port:
        yield request.param, port


SENT = 200 * 1024**2
"""More than any socket keeps, and less than takes long."""


def test_one_that_tells_its_length_is_answered_in_words(server: tuple[str, int]) -> None:
    answer = post(server[1], f"Content-Length: {SENT}", zeros(SENT))
    assert answer.startswith("HTTP/1.1 413 ")
    assert "This is too large: at most 60 MB" in answer


def test_two_gigabytes_asked_about_beforehand_are_never_sent(server: tuple[str, int]) -> None:
    """As curl does with "Expect: 100-continue" (RFC 9110, 10.1.1)."""
    name, port = server
    answer = post(port, f"Content-Length: {2 * GIGABYTE}\r\nExpect: 100-continue", iter(()))
    assert "HTTP/1.1 413 " in answer
    assert ("100 Continue" in answer) == (name == "gunicorn")  # which says so before any page is asked


def test_one_that_tells_no_length_is_counted_or_asked_for_it(server: tuple[str, int]) -> None:
    name, port = server
    answer = post(port, "Transfer-Encoding: chunked", chunks(SENT))
    status, words = (413, "This is too large") if name == "serve" else (411, "Say first how long it is")
    assert answer.startswith(f"HTTP/1.1 {status} ")
    assert words in answer


def test_what_is_short_comes_through_in_pieces_too(server: tuple[str, int]) -> None:
    """The page is asked, and refuses a form without its token."""
    name, port = server
    if name == "serve":
        answer = post(port, "Transfer-Encoding: chunked\r\nConnection: close", chunks(1 << 20))
        assert answer.startswith("HTTP/1.1 403 ")


@pytest.mark.parametrize("headers", [f"Content-Length: {SENT}", "Transfer-Encoding: chunked"])
def test_nothing_of_it_is_kept_in_memory_or_on_the_disk(tmp_path: Path, headers: str) -> None:
    """No file of the process may grow beyond half of what is sent: the system refuses that (setrlimit, FSIZE)."""
    most = SENT // 2
    with served("serve", tmp_path, longest_file=most) as port:
        post(port, "Content-Length: 1", iter([b"a"]))
        before = _most_memory(port)
        answer = post(port, headers, chunks(SENT) if "chunked" in headers else zeros(SENT))
        assert answer.startswith("HTTP/1.1 413 ")
        assert _most_memory(port) - before < 20 * 1024


def _most_memory(port: int) -> int:
    """Of the process that was started to serve there, in kB."""
    status = Path(f"/proc/{PIDS[port]}/status").read_text()
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM:"))
