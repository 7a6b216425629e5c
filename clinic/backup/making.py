"""Makes a backup while the clinic works."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.db import connection, transaction

from clinic.backup.contents import Manifest, check, contents
from clinic.backup.packing import pack
from clinic.backup.refusals import BackupRefused
from clinic.backup.rows import Digest
from clinic.models import Backup
from clinic.services.events import Actor, event_record

PLAIN, ENCRYPTED = ".backup", ".backup.age"


@dataclass(frozen=True, slots=True)
class Made:
    """A backup that was read again after it was written: its file, its size in bytes, what it says of itself."""

    path: Path
    size: int
    manifest: Manifest
    removed: tuple[str, ...]


def backup_make(*, actor: Actor, now: datetime, folder: Path, key: Any, keep: int) -> Made:
    """Write the clinic as it is at one moment into a new file in folder, read it again, and keep the newest `keep`.

    The file has its name only once it is whole and on the disk. key: None leaves it in clear. now: aware.
    Raises BackupRefused; nothing is left behind then, and no older backup was removed.
    """
    path = folder / f"wearwindow-{now.astimezone(UTC):%Y%m%d-%H%M%S}{PLAIN if key is None else ENCRYPTED}"
    part = folder / f".{path.name}.part"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        written = _write(part, now, key)
        manifest = check(part, key)
        if manifest.tables != written:
            raise BackupRefused("The file does not hold what was written to it: look at the disk. No backup was made.")
        if path.exists():
            raise BackupRefused(f"{path.name} exists already: a backup was made within this second.")
        part.rename(path)
        _settle(folder)
    except OSError as fault:
        raise BackupRefused(f"No backup was made in {folder}: {fault.strerror or fault}.") from fault
    finally:
        part.unlink(missing_ok=True)
    size = path.stat().st_size
    _remember(actor, now, path, size, manifest, encrypted=key is not None)
    return Made(path, size, manifest, tuple(_prune(folder, keep)))


def _write(part: Path, now: datetime, key: Any) -> dict[str, Digest]:
    written: dict[str, Digest] = {}
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file, one_moment():
        pack(contents(now=now, secret=key is not None, manifest=written), file, key)
        file.flush()
        os.fsync(file.fileno())
    return written


@contextmanager
def one_moment() -> Iterator[None]:
    """All that is read inside is from one moment, and nobody is kept from writing meanwhile.

    SQLite: a reading transaction of WAL mode. Our own would begin IMMEDIATE and shut every writer out.
    """
    if connection.in_atomic_block:  # a test's transaction: its reader is alone anyway
        yield
        return
    if connection.vendor != "sqlite":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
        return
    connection.ensure_connection()
    own: Any = connection
    usual = own.transaction_mode
    own.transaction_mode = "DEFERRED"
    try:
        with transaction.atomic():
            yield
    finally:
        own.transaction_mode = usual


def _settle(folder: Path) -> None:
    """Without this a power cut could take the new name with it."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@transaction.atomic
def _remember(actor: Actor, now: datetime, path: Path, size: int, manifest: Manifest, *, encrypted: bool) -> None:
    row = Backup.objects.create(made_at=now, name=path.name, size=size, rows=manifest.rows, encrypted=encrypted)
    event_record(actor=actor, verb="backup.made", subject=row, now=now)


def _prune(folder: Path, keep: int) -> Iterator[str]:
    """Remove all but the newest; their names begin with their time, so that they sort."""
    found = sorted(one for one in folder.glob("wearwindow-*") if one.name.endswith((PLAIN, ENCRYPTED)))
    for old in found[:-keep]:
        old.unlink()
        yield old.name
