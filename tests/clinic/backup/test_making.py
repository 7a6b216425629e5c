"""A backup: whole, private, of one moment, and never half a file."""

import gzip
import os
from datetime import datetime, timedelta
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection

from clinic.backup import making
from clinic.backup.contents import check, contents
from clinic.backup.packing import key_make, key_read
from clinic.backup.refusals import BackupRefused
from clinic.backup.rows import Digest, columns_of, digest_of, lines_of, tables_of
from clinic.models import Backup, Event, Patient
from tests.clinic.backup.conftest import MakeBackup
from tests.factories import PatientFactory

pytestmark = pytest.mark.django_db


def test_every_column_of_the_program_can_be_written() -> None:
    tables = tables_of(apps)
    assert {"clinic_patient", "clinic_event", "taping_application", "reminders_message"} <= set(tables)
    for model in tables.values():
        list(lines_of(model, [str(one.column) for one in columns_of(model)]))


def test_parents_stand_before_their_children() -> None:
    order = list(tables_of(apps))
    assert order.index("clinic_patient") < order.index("taping_application") < order.index("reminders_message")


def test_it_holds_every_row_with_the_digest_of_its_table(backup: MakeBackup) -> None:
    made = backup()
    patients = digest_of(Patient, [str(one.column) for one in columns_of(Patient)])
    assert made.manifest.tables["clinic_patient"] == patients
    assert patients.rows == Patient.objects.count() > 0
    assert check(made.path, None).tables == made.manifest.tables


def test_nobody_else_can_read_the_file(backup: MakeBackup) -> None:
    path = backup().path
    assert (path.stat().st_mode & 0o777, path.parent.stat().st_mode & 0o777) == (0o600, 0o700)


def test_log_ins_under_way_are_left_out(backup: MakeBackup) -> None:
    assert not {"django_session", "reminders_lease", "axes_accessattempt"} & set(backup().manifest.tables)


def test_without_a_key_it_does_not_hold_the_key_of_the_links(backup: MakeBackup) -> None:
    clear = gzip.decompress(backup().path.read_bytes()).decode()
    assert "Ada Quill" in clear
    assert settings.LINK_KEY not in clear


def test_with_a_key_nobody_reads_a_name_in_it(backup: MakeBackup, key: Any) -> None:
    made = backup(key=key)
    assert made.path.name.endswith(".backup.age")
    assert b"Ada Quill" not in made.path.read_bytes()
    assert check(made.path, key).link_key == settings.LINK_KEY


def test_another_key_and_no_key_are_refused(backup: MakeBackup, key: Any) -> None:
    path = backup(key=key).path
    with pytest.raises(BackupRefused, match="another key"):
        check(path, key_read(key_make()))
    with pytest.raises(BackupRefused, match="set BACKUP_KEY"):
        check(path, None)
    with pytest.raises(BackupRefused, match="is no key"):
        key_read("open sesame")


@pytest.mark.parametrize("encrypted", [False, True], ids=["clear", "encrypted"])
@pytest.mark.parametrize("kept", [0.0, 0.3, 0.7, 0.999])
def test_a_file_cut_off_is_refused(backup: MakeBackup, key: Any, encrypted: bool, kept: float) -> None:
    used = key if encrypted else None
    path = backup(key=used).path
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * kept)])
    with pytest.raises(BackupRefused, match=r"not whole|no backup|another key"):
        check(path, used)


def test_a_file_cut_at_the_end_of_a_table_is_refused(backup: MakeBackup) -> None:
    """It unpacks without a fault; only the missing manifest tells."""
    path = backup().path
    lines = gzip.decompress(path.read_bytes()).splitlines(keepends=True)
    path.write_bytes(gzip.compress(b"".join(lines[:-1])))
    with pytest.raises(BackupRefused, match="not whole"):
        check(path, None)


def test_a_changed_row_is_refused(backup: MakeBackup) -> None:
    path = backup().path
    path.write_bytes(gzip.compress(gzip.decompress(path.read_bytes()).replace(b"Hal Per", b"Hal Pet")))
    with pytest.raises(BackupRefused, match="cut off or changed"):
        check(path, None)


@pytest.mark.parametrize(
    "content",
    [b"", b"name,born\n", gzip.compress(b"{}\n", mtime=0), gzip.compress(b"[1]\n", mtime=0)],
    ids=["empty", "a list", "an object", "an array"],
)
def test_something_else_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "list.csv").write_bytes(content)
    with pytest.raises(BackupRefused, match=r"no backup of this program|not whole"):
        check(tmp_path / "list.csv", None)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BackupRefused, match="cannot be read"):
        check(tmp_path / "none.backup", None)


def test_the_newest_are_kept(backup: MakeBackup, now: datetime) -> None:
    names = [backup(now=now + timedelta(days=day), keep=2).path.name for day in range(3)]
    last = backup(now=now + timedelta(days=3), keep=2)
    assert last.removed == (names[1],)
    assert sorted(one.name for one in last.path.parent.iterdir()) == [names[2], last.path.name]


def test_it_is_remembered_with_an_event(backup: MakeBackup, now: datetime) -> None:
    made = backup(now=now)
    row = Backup.objects.get()
    assert (row.name, row.size, row.rows, row.encrypted) == (made.path.name, made.size, made.manifest.rows, False)
    assert Event.objects.get(verb="backup.made").at == now


def test_a_full_disk_leaves_nothing_behind_and_removes_nothing(
    backup: MakeBackup, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = backup(now=now, keep=1)

    def full(handle: int) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(BackupRefused, match="No space left on device"):
        backup(now=now + timedelta(days=1), keep=1)
    assert list(first.path.parent.iterdir()) == [first.path]
    assert Backup.objects.count() == 1


def test_what_the_disk_changed_is_noticed(backup: MakeBackup, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is read again before it gets its name."""

    def other(path: Path, key: Any) -> Any:
        manifest = check(path, key)
        manifest.tables["clinic_patient"] = Digest(0, "0" * 64)
        return manifest

    monkeypatch.setattr("clinic.backup.making.check", other)
    with pytest.raises(BackupRefused, match="does not hold what was written"):
        backup()
    assert not Backup.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_it_is_of_one_moment_and_keeps_nobody_from_writing() -> None:
    PatientFactory(full_name="Before")
    written: dict[str, Digest] = {}
    with making.one_moment():
        lines = contents(now=datetime.fromisoformat("2027-03-10T15:00:00+00:00"), secret=False, manifest=written)
        next(lines)
        assert next(lines).startswith(b'{"table"')
        Patient.objects.count()  # the moment is that of the first look
        thread = Thread(target=_somebody_writes)
        thread.start()
        thread.join(timeout=15)
        assert not thread.is_alive()
        rest = b"".join(lines)
    assert written["clinic_patient"].rows == 1
    assert b"During" not in rest
    assert Patient.objects.count() == 2


def _somebody_writes() -> None:
    PatientFactory(full_name="During")
    connection.close()
