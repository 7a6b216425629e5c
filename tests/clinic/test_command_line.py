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
