"""manage.py demo and rehearse --days, as they are typed."""

import hashlib
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from urllib.request import urlopen

import pytest

ROOT = Path(__file__).resolve().parents[2]


def _surroundings(folder: Path, **more: str) -> dict[str, str]:
    return {"PATH": os.environ["PATH"], "DATA_FOLDER": str(folder), **more}


def _manage(folder: Path, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(ROOT / "manage.py"), *words]
    surroundings = _surroundings(folder, **more)
    return subprocess.run(command, env=surroundings, capture_output=True, text=True, check=False)


def _bytes(folder: Path) -> dict[str, str]:
    """Every file that holds something, but for SQLite's shared memory, which holds no data of its own."""
    files = [path for path in sorted(folder.rglob("*")) if path.is_file() and not path.name.endswith("-shm")]
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in files
        if path.stat().st_size
    }


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """A demo in a folder of its own, and what its making said."""
    folder = tmp_path_factory.mktemp("demo") / "data"
    return folder, _manage(folder, "demo", "--no-serve")


Made = tuple[Path, subprocess.CompletedProcess[str]]


def test_it_is_made_and_says_how_to_log_in(made: Made) -> None:
    _, done = made
    assert (done.returncode, done.stderr) == (0, "")
    names = re.findall(r"^  (\w+) +password: walk the long harbour", done.stdout, re.MULTILINE)
    assert names == ["mira", "tobin", "sela", "dana"]
    assert re.search(r"needs no log-in: http://127\.0\.0\.1:8000/t/[\w-]{43}/", done.stdout)


def test_run_again_it_is_the_demo_it_made(made: Made) -> None:
    folder, first = made
    before = _bytes(folder)
    again = _manage(folder, "demo", "--no-serve")
    assert (again.returncode, again.stderr, again.stdout.splitlines()[0]) == (
        0,
        "",
        "This is the demo that was made before.",
    )
    assert again.stdout.splitlines()[1:] == first.stdout.splitlines()[1:]
    assert _bytes(folder) == before


def test_a_rehearsal_of_the_week_says_what_goes_and_changes_not_a_byte(made: Made) -> None:
    folder, _ = made
    before = _bytes(folder)
    done = _manage(folder, "rehearse", "--days", "7", "--json")
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    messages = [line for line in lines if line["type"] == "message"]
    assert (done.returncode, done.stderr, _bytes(folder)) == (0, "", before)
    assert {line["state"] for line in messages} == {"sent"}
    assert [line["at"] for line in messages] == sorted(line["at"] for line in messages)
    assert {"removal_day", "removal_overdue", "visit_reminder"} <= {line["kind"] for line in messages}
    assert all(line["reasons"] and line["to"] and "http" not in line["text"] for line in messages)


def test_for_a_reader_it_is_a_table_by_day(made: Made) -> None:
    folder, _ = made
    done = _manage(folder, "rehearse", "--days=2", "--no-color")
    first, second, *rest = done.stdout.splitlines()
    assert re.fullmatch(r"Harbour Lane Clinic: what is said until \w+, \d+ \w+ if nobody answers\.", first)
    assert second == "Clock times are those of America/New_York. Nothing was sent, and nothing was changed."
    days = [line for line in rest if re.fullmatch(r"\w+day, \d+ \w+ \d{4}", line)]
    assert 2 <= len(days) <= 3
    assert any(re.match(r"  \d\d:\d\d  \w[\w ]+  .+(text message|e-mail) to ", line) for line in rest)


def test_no_clinic_no_rehearsal(tmp_path: Path) -> None:
    done = _manage(tmp_path / "none", "rehearse")
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)
    assert "manage.py demo" in done.stderr


@pytest.mark.parametrize("words", [("--days", "0"), ("--days", "soon"), ("--scenario", "a", "--days", "2"), ("more",)])
def test_nonsense_gets_one_line(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = _manage(tmp_path, "rehearse", *words)
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)


def test_a_database_that_is_somebody_elses_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "clinic.sqlite3"
    with sqlite3.connect(file) as other:
        other.execute("CREATE TABLE accounts (id INTEGER)")
    other.close()
    done = _manage(tmp_path, "demo", "--no-serve")
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)
    assert "something other than the demo" in done.stderr
    assert _tables(file) == ["accounts"]


def _tables(file: Path) -> list[str]:
    with sqlite3.connect(file) as other:
        return [name for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]


@pytest.mark.parametrize(
    ("name", "value"),
    [("EMAIL_URL", "smtp://127.0.0.1:25"), ("SMS_GATEWAY_URL", "https://sms.example.org/send")],
)
def test_with_a_way_out_into_the_world_it_does_not_run(tmp_path: Path, name: str, value: str) -> None:
    done = _manage(tmp_path, "demo", "--no-serve", **{name: value})
    assert (done.returncode, len(done.stderr.splitlines()), name in done.stderr) == (2, 1, True)


def test_it_serves(made: Made) -> None:
    folder, _ = made
    command = [sys.executable, str(ROOT / "manage.py"), "demo", "--port", "0"]
    with subprocess.Popen(command, env=_surroundings(folder), stdout=subprocess.PIPE, text=True) as served:
        assert served.stdout is not None
        address = next(found[1] for line in served.stdout if (found := re.search(r"is at (http://[\d.:]+/)", line)))
        with urlopen(f"{address}health/", timeout=20) as answer:
            status = answer.status
        served.send_signal(signal.SIGTERM)
        assert (status, served.wait(timeout=30)) == (200, 0)
