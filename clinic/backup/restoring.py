"""Brings a backup back into an empty place."""

import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.apps.registry import Apps
from django.conf import settings
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import DEFAULT_DB_ALIAS, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Model
from django.db.utils import DatabaseError

from clinic.backup.contents import Manifest, Reading, check, key_sha256
from clinic.backup.packing import unpack
from clinic.backup.refusals import BackupRefused
from clinic.backup.rows import Digest, digest_of, rows_insert, tables_of
from clinic.models import Clinic
from clinic.services.events import Actor, event_record


@dataclass(frozen=True, slots=True)
class Restored:
    """tables: the digests of what stands in the database now, read from there. link_key: what became of the key."""

    manifest: Manifest
    tables: dict[str, Digest]
    link_key: str


def restore(*, actor: Actor, now: datetime, path: Path, key: Any) -> Restored:
    """Read the whole file, then load it, compare every digest with what the database holds, and migrate.

    Raises BackupRefused, with nothing changed, for a place that is not empty and for whatever check() refuses.
    """
    manifest = check(path, key)
    _refuse_unknown(manifest, path.name)
    _refuse_living()
    try:
        apps = _tables_made(manifest)
        tables = _load(path, key, apps)
        call_command("migrate", interactive=False, verbosity=0)
    except BaseException:
        _emptied()
        raise
    said = _link_key(manifest)
    clinic = Clinic.objects.first()
    if clinic is not None:
        with transaction.atomic():
            event_record(actor=actor, verb="backup.restored", subject=clinic, now=now)
    return Restored(manifest, tables, said)


def _refuse_unknown(manifest: Manifest, name: str) -> None:
    known = set(MigrationExecutor(connection).loader.disk_migrations or ())
    unknown = [f"{app} {one}" for app, names in manifest.migrations.items() for one in names if (app, one) not in known]
    if unknown:
        raise BackupRefused(
            f"{name} was made by a newer version ({manifest.program}; this one does not know {unknown[0]}): "
            "install that version, then restore."
        )


def _refuse_living() -> None:
    if connection.introspection.table_names():
        raise BackupRefused(
            "There is a database here already, and a restore goes into an empty place alone: set DATABASE_URL or "
            "DATA_FOLDER to an empty one, or move the old one away."
        )


def _tables_made(manifest: Manifest) -> Apps:
    """Make the tables as they were when the backup was made; the models that fit them."""
    executor = MigrationExecutor(connection)
    had = {(app, name) for app, names in manifest.migrations.items() for name in names}
    graph = executor.loader.graph
    leaves = [
        one
        for one in sorted(had)
        if not any(child.key in had and child.key[0] == one[0] for child in graph.node_map[one].children)
    ]
    state = executor.migrate(leaves)
    state.clear_delayed_apps_cache()
    return state.apps


def _load(path: Path, key: Any, apps: Apps) -> dict[str, Digest]:
    models = tables_of(apps)
    try:
        with transaction.atomic(), unpack(path, key) as lines:
            reading = Reading(lines, path.name)
            columns = {}
            for table in reading.tables():
                columns[table.name] = table.columns
                if table.name not in models:
                    raise BackupRefused(f"{path.name} holds a table {table.name} that its own version does not have.")
                rows_insert(models[table.name], table.columns, table.rows, using=DEFAULT_DB_ALIAS)
            found = {table: digest_of(models[table], columns[table]) for table in reading.manifest.tables}
            wrong = [table for table, digest in found.items() if digest != reading.manifest.tables[table]]
            if wrong:
                raise BackupRefused(f"Nothing was restored: {', '.join(wrong)} came out other than it was.")
            _count_on(list(models.values()))
    except DatabaseError as fault:
        words = str(fault).strip().splitlines()[0]
        raise BackupRefused(f"Nothing was restored: the database refused a row ({words}).") from fault
    return found


def _count_on(models: list[type[Model]]) -> None:
    """New rows take the next number; PostgreSQL does not see that by itself."""
    statements = connection.ops.sequence_reset_sql(no_style(), models)
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _emptied() -> None:
    """Take away the tables that were made here: the place was empty before, and the next attempt needs it so."""
    if connection.vendor == "sqlite":
        name = str(connection.settings_dict["NAME"])
        connection.close()
        for ending in ("", "-wal", "-shm"):
            Path(f"{name}{ending}").unlink(missing_ok=True)
        return
    connection.close()
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f"DROP TABLE IF EXISTS {connection.ops.quote_name(table)} CASCADE")


def _link_key(manifest: Manifest) -> str:
    """Bring back the key of the links that patients already have, where this place keeps its key in a file."""
    if key_sha256() == manifest.link_key_sha256:
        return "same"
    path = settings.DATA_FOLDER / "link_key"
    if not manifest.link_key or not path.is_file() or path.read_text(encoding="utf-8").strip() != settings.LINK_KEY:
        return "another"
    part = path.with_suffix(".part")
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8") as file:
        file.write(manifest.link_key)
        file.flush()
        os.fsync(file.fileno())
    part.rename(path)
    return "brought back"
