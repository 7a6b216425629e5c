"""The proof that a backup can be brought back: it is, into a database of the same kind that is thrown away again."""

import json
import os
import secrets
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from django.conf import settings
from django.db import DatabaseError, connection

from clinic.backup.contents import Manifest
from clinic.backup.refusals import BackupRefused
from clinic.backup.rows import Digest

KEPT = ("PATH", "HOME", "LANG", "TMPDIR", "PYTHONPATH", "VIRTUAL_ENV", "PGPASSFILE", "PGSSLMODE", "PGSSLROOTCERT")
"""Of the machine, and how PostgreSQL is reached; nothing else of the clinic's is given to the drill."""


def drill(path: Path, manifest: Manifest) -> dict[str, Digest]:
    """Restore the file at path by the command itself, in a process of its own, and compare every table.

    Returns the digests of the restored tables. Raises BackupRefused where one differs or nothing could be restored.
    """
    with tempfile.TemporaryDirectory(prefix="wearwindow-drill-") as folder, _empty_place(Path(folder)) as address:
        found = _restored(path, Path(folder), address)
    differing = sorted(
        table for table in manifest.tables.keys() | found.keys() if manifest.tables.get(table) != found.get(table)
    )
    if differing:
        raise BackupRefused(f"The drill failed: restored, these tables differ: {', '.join(differing)}.")
    return found


def _restored(path: Path, folder: Path, address: str) -> dict[str, Digest]:
    surroundings = {name: os.environ[name] for name in KEPT if name in os.environ} | {
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
        "DATABASE_URL": address,
        "DATA_FOLDER": str(folder),
        "DATABASE_PASSWORD": str(settings.DATABASES["default"].get("PASSWORD") or ""),
        "SECRET_KEY": secrets.token_urlsafe(48),
        "BACKUP_KEY": settings.BACKUP_KEY,
        "LOG_LEVEL": "ERROR",
    }
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "restore", str(path.resolve()), "--json"]
    done = subprocess.run(command, env=surroundings, capture_output=True, text=True, check=False)  # noqa: S603
    if done.returncode:
        words = (done.stderr.strip().splitlines() or ["nothing was said"])[-1]
        raise BackupRefused(f"The drill failed: {words}")
    tables = json.loads(done.stdout)["tables"]
    return {name: Digest(row["rows"], row["sha256"]) for name, row in tables.items()}


@contextmanager
def _empty_place(folder: Path) -> Iterator[str]:
    if connection.vendor == "sqlite":
        yield f"sqlite:///{folder / 'drill.sqlite3'}"
        return
    name = f"wearwindow_drill_{secrets.token_hex(6)}"
    _say(f'CREATE DATABASE "{name}"')
    try:
        of = connection.settings_dict
        where = f"{of['HOST'] or ''}:{of['PORT']}" if of["PORT"] else str(of["HOST"] or "")
        yield f"postgres://{quote(str(of['USER'] or ''), safe='')}@{where}/{name}"
    finally:
        _say(f'DROP DATABASE IF EXISTS "{name}"')


def _say(statement: str) -> None:
    """Databases are made outside any transaction, over a connection of its own."""
    apart = connection.copy("drill")
    try:
        with apart.cursor() as cursor:
            cursor.execute(statement)
    except DatabaseError as refused:
        words = str(refused).strip().splitlines()[0]
        raise BackupRefused(f"The drill needs a database of its own on this server: {words}.") from refused
    finally:
        apart.close()
