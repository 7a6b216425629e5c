"""What stands in a backup, line by line, and the reading of it with every count and digest checked."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model

from clinic.backup.packing import line_of, unpack
from clinic.backup.refusals import BackupRefused
from clinic.backup.rows import Counter, Digest, columns_of, lines_of, tables_of

FORMAT = 1
_HEADING = "wearwindow backup"


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup says of itself. made_at: aware UTC; migrations: app to names, those that made the tables.

    link_key is there in encrypted backups only; its digest tells whether another place has the same.
    """

    program: str
    made_at: datetime
    database: str
    migrations: dict[str, list[str]]
    link_key_sha256: str
    link_key: str = field(default="", repr=False)
    tables: dict[str, Digest] = field(default_factory=dict)

    @property
    def rows(self) -> int:
        return sum(digest.rows for digest in self.tables.values())


def program_version() -> str:
    try:
        return version("wearwindow")
    except PackageNotFoundError:
        return "0"


def key_sha256() -> str:
    return hashlib.sha256(settings.LINK_KEY.encode()).hexdigest()


def migrations_applied(using: str = DEFAULT_DB_ALIAS) -> dict[str, list[str]]:
    """The migrations this database has of the apps that are installed. Raises BackupRefused where some are missing."""
    loader = MigrationLoader(connections[using])
    missing = set(loader.disk_migrations or ()) - set(loader.applied_migrations or ())
    if missing:
        raise BackupRefused("The database is not that of this version: run manage.py migrate first.")
    found: dict[str, list[str]] = {}
    for app, name in sorted(loader.disk_migrations or ()):
        found.setdefault(app, []).append(name)
    return found


def contents(*, now: datetime, secret: bool, manifest: dict[str, Digest]) -> Iterator[bytes]:
    """The lines of a backup of the database at hand, in the transaction at hand. manifest is filled as they are made.

    secret: the file will be encrypted, so the key of the patients' links may stand in it.
    """
    tables = tables_of(apps)
    yield line_of(
        {
            _HEADING: FORMAT,
            "program": program_version(),
            "made_at": now.isoformat(),
            "database": connections[DEFAULT_DB_ALIAS].vendor,
            "migrations": migrations_applied(),
            "link_key_sha256": key_sha256(),
            "link_key": settings.LINK_KEY if secret else "",
        }
    )
    for table, model in tables.items():
        yield from _table(table, model, manifest)
    yield line_of({"manifest": {table: asdict(digest) for table, digest in manifest.items()}})


def _table(table: str, model: type[Model], manifest: dict[str, Digest]) -> Iterator[bytes]:
    counter = Counter()
    columns = [str(one.column) for one in columns_of(model)]
    yield line_of({"table": table, "columns": columns})
    for line in lines_of(model, columns):
        counter.add(line)
        yield line
    manifest[table] = counter.digest
    yield line_of({"end": table, **asdict(counter.digest)})


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a backup as it is read: its rows must be read to their end before the next table is asked for."""

    name: str
    columns: list[str]
    rows: Iterator[bytes]


class Reading:
    """Goes through a backup once. tables() checks each count and digest; manifest is whole after the last."""

    def __init__(self, lines: Iterator[bytes], name: str) -> None:
        self._lines = lines
        self._name = name
        self.manifest = self._heading()

    def tables(self) -> Iterator[Table]:
        while True:
            found = self._object(self._next())
            if "manifest" in found:
                self._close(found["manifest"])
                return
            if "table" not in found or "columns" not in found:
                raise self._torn()
            table = str(found["table"])
            yield Table(table, list(found["columns"]), self._rows(table))
            if table not in self.manifest.tables:
                raise self._torn()

    def _rows(self, table: str) -> Iterator[bytes]:
        counter = Counter()
        while True:
            line = self._next()
            if not line.startswith(b"["):
                break
            counter.add(line)
            yield line
        if self._object(line) != {"end": table, **asdict(counter.digest)}:
            raise self._torn()
        self.manifest.tables[table] = counter.digest

    def _heading(self) -> Manifest:
        found = self._object(self._next())
        if _HEADING not in found:
            raise BackupRefused(f"{self._name} is no backup of this program.")
        if found[_HEADING] > FORMAT or _number(found["program"]) > _number(program_version()):
            raise BackupRefused(
                f"{self._name} was made by version {found['program']}, which is newer than this one "
                f"({program_version()}): install that version, then restore."
            )
        known = {name: found[name] for name in ("program", "database", "migrations", "link_key_sha256", "link_key")}
        return Manifest(made_at=datetime.fromisoformat(found["made_at"]), **known)

    def _close(self, manifest: dict[str, Any]) -> None:
        if manifest != {table: asdict(digest) for table, digest in self.manifest.tables.items()}:
            raise self._torn()
        if next(self._lines, b""):
            raise self._torn()

    def _next(self) -> bytes:
        line = next(self._lines, b"")
        if not line.endswith(b"\n"):
            raise self._torn()
        return line

    def _object(self, line: bytes) -> dict[str, Any]:
        try:
            found = json.loads(line)
        except ValueError as unreadable:
            raise self._torn() from unreadable
        if not isinstance(found, dict):
            raise self._torn()
        return found

    def _torn(self) -> BackupRefused:
        return BackupRefused(f"{self._name} is not whole: it was cut off or changed. Take another backup.")


def _number(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in str(text).split(".") if part.isdecimal())


def check(path: Path, key: Any) -> Manifest:
    """Read a backup from its beginning to its end; what it says of itself, every digest compared.

    Raises BackupRefused where it is no backup, torn, changed, newer than this program, or encrypted with another key.
    """
    with unpack(path, key) as lines:
        reading = Reading(lines, path.name)
        for table in reading.tables():
            for _ in table.rows:
                pass
        return reading.manifest
