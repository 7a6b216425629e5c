"""Faults a person can mend get one line and exit status 2, never a traceback."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def _run(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    inherited = {"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/"), **environment}
    return subprocess.run(
        [sys.executable, "manage.py", *words], cwd=ROOT, env=inherited, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    ("words", "environment", "said"),
    [
        (("migrate",), {"DATABASE_URL": "sqlite:////nowhere/at/all.sqlite3"}, "Database: "),
        (("bench", "speed"), {}, "bench: argument what: invalid choice: 'speed'"),
        (("check",), {"SECRET_KEY_FILE": "/nowhere/key"}, "SECRET_KEY"),
    ],
)
def test_one_clear_line(tmp_path: Path, words: tuple[str, ...], environment: dict[str, str], said: str) -> None:
    done = _run(*words, DATA_FOLDER=str(tmp_path), **environment)
    assert (done.returncode, "Traceback" in done.stderr) == (2, False)
    assert said in done.stderr


BAD = {
    "PUBLIC": ("maybe", "PUBLIC is neither true nor false."),
    "DEBUG": ("2", "DEBUG is neither true nor false."),
    "IDLE_LOCK_MINUTES": ("ten", "IDLE_LOCK_MINUTES is not a whole number from 1 to 60."),
    "PROXY_COUNT": ("-1", "PROXY_COUNT is not a whole number from 0 to 5."),
    "BACKUP_KEEP": ("0", "BACKUP_KEEP is not a whole number from 1 to 10000."),
    "BACKUP_WARN_DAYS": ("1.5", "BACKUP_WARN_DAYS is not a whole number from 1 to 365."),
    "LOG_LEVEL": ("LOUD", "LOG_LEVEL is none of DEBUG, INFO, WARNING, ERROR, CRITICAL."),
    "DATABASE_URL": ("mysql://ada:hush@db/x", "DATABASE_URL is no address of a database."),
    "REDIS_URL": ("nonsense", "REDIS_URL cannot be read. Write it like redis://"),
    "COUNTRY": ("USA", "COUNTRY cannot be read. Write it like US"),
    "SENDER_ADDRESS": ("nobody", "SENDER_ADDRESS cannot be read. Write it like clinic@example.org"),
}


def test_every_setting_that_cannot_be_read_gets_a_line_of_its_own(tmp_path: Path) -> None:
    """All at once, so that nobody starts eleven times; what was written may be a password and stands nowhere."""
    done = _run("check", DATA_FOLDER=str(tmp_path), **{name: value for name, (value, _) in BAD.items()})
    assert done.returncode == 2
    lines = done.stderr.splitlines()
    assert len(lines) == len(BAD)
    assert [said for _, said in BAD.values() if not any(line.startswith(f"Settings: {said}") for line in lines)] == []
    assert "hush" not in done.stderr


@pytest.mark.parametrize("url", ["nonsense", "postgres://ada:hush@db:port/x", "oracle://ada:hush@db/x"])
def test_a_database_that_is_none_is_refused(tmp_path: Path, url: str) -> None:
    done = _run("check", DATA_FOLDER=str(tmp_path), DATABASE_URL=url)
    assert "hush" not in done.stderr
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)


def test_an_unsafe_public_run_is_refused_by_name(tmp_path: Path) -> None:
    done = _run("migrate", DATA_FOLDER=str(tmp_path), PUBLIC="true", PUBLIC_ADDRESS="http://tape.example.org")
    assert (done.returncode, "Traceback" in done.stderr) == (1, False)
    assert [name for name in ("E002", "E003", "E004") if f"wearwindow.{name}" not in done.stderr] == []


def test_a_missing_package_is_named_with_the_command_that_installs_it(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-S", "manage.py", "check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr.startswith("The package ")
    assert "pip install -c .ci/constraints.txt -e ." in done.stderr
