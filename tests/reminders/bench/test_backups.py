"""The measurement of backups: small, but whole, on databases of its own."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from reminders.bench import backups
from reminders.bench.backups import Memory, Years, measure, run
from reminders.bench.company import BenchError, environment_of

NOWHERE = "postgres://nobody@127.0.0.1:1"


def test_each_step_is_measured_in_clear_and_encrypted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(backups, "LONGEST_S", 0.0)
    said: list[str] = []
    rows = list(measure(Years(patients=30, server=NOWHERE), tmp_path, said.append))
    assert [(row["way"], row["step"]) for row in rows] == [
        (way, step) for way in ("plain", "encrypted") for step in ("backup", "verify", "restore")
    ]
    assert {(row["database"], row["patients"], row["messages"]) for row in rows} == {("sqlite", 3, 60)}
    assert all(row["seconds"] > 0 and row["memory_mb"] > 10 and row["file_mb"] > 0 for row in rows)
    assert "Left out: everything on PostgreSQL" in said[0]
    assert "On SQLite a part alone, 3 patients" in said[-1]


def test_the_memory_of_children_counts() -> None:
    child = "import time; kept = bytes(100_000_000); kept = kept[:1] + kept[1:]; time.sleep(1)"
    parent = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {child!r}])"
    with subprocess.Popen([sys.executable, "-c", parent]) as process, Memory(process.pid) as memory:
        process.wait()
    assert 100_000 < memory.most_kb < 400_000


def test_a_step_that_fails_ends_it_with_its_last_line(tmp_path: Path) -> None:
    environment = environment_of(f"sqlite:///{tmp_path / 'none.sqlite3'}", tmp_path)
    with pytest.raises(BenchError, match=r"restore failed: .*cannot be read"):
        run(["restore", str(tmp_path / "none.backup"), "--json"], environment)


def test_a_number_that_measures_nothing_is_refused() -> None:
    with pytest.raises(CommandError, match="--patients 1: give a number from 500"):
        call_command("bench", "backup", "--patients", "1")


def test_rows_are_json_lines(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(backups, "measure", lambda years, folder, say: iter([{"step": "backup", "seconds": 1.5}]))
    call_command("bench", "backup", "--json")
    assert json.loads(capsys.readouterr().out) == {"step": "backup", "seconds": 1.5}
