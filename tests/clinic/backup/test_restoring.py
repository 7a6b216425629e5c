"""A restore: into an empty place alone, the same digest by digest, or nothing at all."""

import gzip
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection
from pytest_django import Settings

from clinic.backup.contents import check
from clinic.backup.drill import _empty_place, drill
from clinic.backup.packing import key_make, key_read
from clinic.backup.refusals import BackupRefused
from clinic.backup.restoring import restore
from clinic.backup.rows import Digest
from clinic.models import Event, Patient
from clinic.services.events import Actor
from tests.clinic.backup.conftest import MakeBackup
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[3]
ACTOR = Actor(word="test")


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[dict[str, str]]:
    """The environment of an empty place of the same kind of database."""
    folder = tmp_path / "new"
    folder.mkdir()
    with _empty_place(folder) as address:
        password = str(settings.DATABASES["default"].get("PASSWORD") or "")
        yield {
            "PATH": os.environ["PATH"], "DJANGO_SETTINGS_MODULE": "clinic.settings", "DATABASE_URL": address,
            "DATABASE_PASSWORD": password, "DATA_FOLDER": str(folder), "LOG_LEVEL": "ERROR",
        }  # fmt: skip


def manage(environment: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "manage.py", *words]
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)


def _altered(path: Path, old: bytes, new: bytes) -> Path:
    lines = gzip.decompress(path.read_bytes())
    assert old in lines
    path.write_bytes(gzip.compress(lines.replace(old, new, 1)))
    return path


def test_the_drill_finds_every_table_the_same(backup: MakeBackup) -> None:
    made = backup()
    assert drill(made.path, made.manifest) == made.manifest.tables
    assert made.manifest.tables["clinic_importpart"].rows == 1


def test_the_drill_fails_where_a_table_differs(backup: MakeBackup) -> None:
    made = backup()
    made.manifest.tables["clinic_patient"] = Digest(1, "0" * 64)
    with pytest.raises(BackupRefused, match=r"tables differ: clinic_patient\.$"):
        drill(made.path, made.manifest)


def test_an_encrypted_one_brings_the_key_of_the_links_back_and_new_rows_follow(
    backup: MakeBackup, empty: dict[str, str], tmp_path: Path
) -> None:
    text = key_make()
    (tmp_path / "key").write_text(text)
    from clinic.backup.packing import key_read

    made = backup(key=key_read(text))
    environment = {**empty, "BACKUP_KEY_FILE": str(tmp_path / "key")}
    done = manage(environment, "restore", str(made.path), "--json")
    assert done.stderr == ""
    told = json.loads(done.stdout)
    assert told["link_key"] == "brought back"
    assert told["tables"] == {n: {"rows": d.rows, "sha256": d.sha256} for n, d in made.manifest.tables.items()}
    key_file = Path(empty["DATA_FOLDER"]) / "link_key"
    assert (key_file.read_text(), key_file.stat().st_mode & 0o777) == (settings.LINK_KEY, 0o600)
    # A second one meets a living clinic.
    again = manage(environment, "restore", str(made.path))
    assert (again.returncode, again.stdout, len(again.stderr.splitlines())) == (2, "", 1)
    assert "empty place" in again.stderr
    # And work goes on: the next patient gets a number that nobody has.
    added = manage({**environment, "STAFF_PASSWORD": "a long enough phrase"}, "staff_add", "--username", "newcomer",
                   "--full-name", "New Comer", "--roles", "therapist")  # fmt: skip
    assert (added.returncode, added.stderr) == (0, "")


def test_a_living_clinic_is_refused_and_stays(backup: MakeBackup) -> None:
    made, before = backup(), Event.objects.count()
    with pytest.raises(BackupRefused, match="goes into an empty place alone"):
        restore(actor=ACTOR, now=NOW, path=made.path, key=None)
    assert (Event.objects.count(), Patient.objects.filter(full_name__startswith="Ada Quill").exists()) == (before, True)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'"wearwindow backup":1', b'"wearwindow backup":2'),
        (b'"program":"0.', b'"program":"9000.'),
        (b'"0001_initial"', b'"0001_initial","9999_from_the_future"'),
    ],
    ids=["format", "program", "migration"],
)
def test_one_of_a_newer_version_is_refused(backup: MakeBackup, old: bytes, new: bytes) -> None:
    path = _altered(backup().path, old, new)
    with pytest.raises(BackupRefused, match="newer"):
        restore(actor=ACTOR, now=NOW, path=path, key=None)


def test_a_cut_file_leaves_the_empty_place_empty(backup: MakeBackup, empty: dict[str, str]) -> None:
    path = backup().path
    path.write_bytes(path.read_bytes()[:-200])
    done = manage(empty, "restore", str(path))
    assert (done.returncode, done.stdout) == (2, "")
    assert "is not whole" in done.stderr
    if connection.vendor == "sqlite":
        assert sorted(one.name for one in Path(empty["DATA_FOLDER"]).iterdir()) == ["link_key", "secret_key"]


def test_a_row_the_database_refuses_leaves_the_place_empty(backup: MakeBackup, empty: dict[str, str]) -> None:
    """A file whose digests are right and whose rows contradict each other: an application of a patient who is none."""
    from clinic.backup.packing import pack
    from clinic.backup.rows import Counter

    path = backup().path
    lines = gzip.decompress(path.read_bytes()).splitlines(keepends=True)
    start = next(n for n, line in enumerate(lines) if line.startswith(b'{"table":"clinic_helper"'))
    columns = json.loads(lines[start])["columns"]
    row = json.loads(lines[start + 1])
    row[columns.index("patient_id")] = 999_999
    lines[start + 1] = (json.dumps(row, ensure_ascii=False, separators=(",", ":")) + "\n").encode()
    counter = Counter()
    counter.add(lines[start + 1])
    digest = {"rows": 1, "sha256": counter.digest.sha256}
    lines[start + 2] = (json.dumps({"end": "clinic_helper", **digest}, separators=(",", ":")) + "\n").encode()
    manifest = json.loads(lines[-1])
    manifest["manifest"]["clinic_helper"] = digest
    lines[-1] = (json.dumps(manifest, separators=(",", ":")) + "\n").encode()
    with path.open("wb") as out:
        pack(lines, out, None)
    assert check(path, None).tables["clinic_helper"].sha256 == digest["sha256"]
    for _ in range(2):  # the second time finds the place as empty as the first
        done = manage(empty, "restore", str(path))
        assert done.returncode == 2
        assert "Nothing was restored: the database refused a row" in done.stderr


def test_the_commands_say_it_in_one_line(backup: MakeBackup, settings: Settings, tmp_path: Path) -> None:
    settings.BACKUP_FOLDER = tmp_path / "there"
    out = StringIO()
    call_command("backup", "--json", stdout=out)
    told: dict[str, Any] = json.loads(out.getvalue())
    assert Path(told["file"]).parent == tmp_path / "there"
    said = StringIO()
    call_command("restore", told["file"], "--check", stdout=said)
    assert "whole" in said.getvalue()
    with pytest.raises(CommandError) as refused:
        call_command("restore", str(tmp_path / "none.backup"))
    assert refused.value.returncode == 2
    settings.BACKUP_KEY = "open sesame"
    with pytest.raises(CommandError, match="BACKUP_KEY is no key") as wrong:
        call_command("backup")
    assert wrong.value.returncode == 2


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("living", "There is a database here already"),
        ("half", "is not whole"),
        ("newer", "newer"),
        ("wrong key", "encrypted with another key"),
    ],
)
def test_the_command_refuses_it_in_one_line_and_the_clinic_stays(
    backup: MakeBackup, settings: Settings, what: str, words: str
) -> None:
    key = key_make()
    path, before = backup(key=key_read(key) if what == "wrong key" else None).path, Event.objects.count()
    if what == "half":
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    elif what == "newer":
        _altered(path, b'"wearwindow backup":1', b'"wearwindow backup":2')
    elif what == "wrong key":
        settings.BACKUP_KEY = key_make()
    with pytest.raises(CommandError, match=words) as refused:
        call_command("restore", str(path))
    assert (refused.value.returncode, str(refused.value).count("\n")) == (2, 0)
    assert (Event.objects.count(), Patient.objects.filter(full_name__startswith="Ada Quill").exists()) == (before, True)


def test_a_new_key_never_overwrites_one(tmp_path: Path) -> None:
    call_command("backup", "--new-key", str(tmp_path / "key"), stdout=StringIO())
    first = (tmp_path / "key").read_text()
    assert ((tmp_path / "key").stat().st_mode & 0o777, first[:16]) == (0o600, "AGE-SECRET-KEY-1")
    with pytest.raises(CommandError, match="Name a new file"):
        call_command("backup", "--new-key", str(tmp_path / "key"))
    assert (tmp_path / "key").read_text() == first
