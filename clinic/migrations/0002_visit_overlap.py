"""No therapist has two visits at once: PostgreSQL holds it by an exclusion constraint, SQLite by triggers.

Only visits that take time count (booked, arrived, done), and ends are exclusive: 10:00-10:30 and 10:30-11:00 go together.
A later migration that makes SQLite rebuild the table of visits drops its triggers and has to run forbid again.
"""

from django.db import migrations

TAKES_TIME = "('booked', 'arrived', 'done')"

POSTGRESQL_FORBID = (
    "CREATE EXTENSION IF NOT EXISTS btree_gist",
    "ALTER TABLE clinic_visit ADD CONSTRAINT visit_no_overlap EXCLUDE USING gist "
    "(therapist_id WITH =, tstzrange(starts_at, ends_at, '[)') WITH &&) "
    f"WHERE (state IN {TAKES_TIME})",
)
POSTGRESQL_ALLOW = ("ALTER TABLE clinic_visit DROP CONSTRAINT IF EXISTS visit_no_overlap",)

_CLASH = (
    f"NEW.state IN {TAKES_TIME} AND EXISTS (SELECT 1 FROM clinic_visit AS held "
    f"WHERE held.therapist_id = NEW.therapist_id AND held.state IN {TAKES_TIME} "
    "AND held.starts_at < NEW.ends_at AND held.ends_at > NEW.starts_at"
)
_REFUSE = "BEGIN SELECT RAISE(ABORT, 'visit_no_overlap'); END"

SQLITE_FORBID = (
    f"CREATE TRIGGER IF NOT EXISTS visit_no_overlap_insert BEFORE INSERT ON clinic_visit WHEN {_CLASH}) {_REFUSE}",
    "CREATE TRIGGER IF NOT EXISTS visit_no_overlap_update "
    "BEFORE UPDATE OF therapist_id, starts_at, ends_at, state ON clinic_visit "
    f"WHEN {_CLASH} AND held.id <> NEW.id) {_REFUSE}",
)
SQLITE_ALLOW = (
    "DROP TRIGGER IF EXISTS visit_no_overlap_insert",
    "DROP TRIGGER IF EXISTS visit_no_overlap_update",
)


def forbid(apps, schema_editor):
    _run(schema_editor, {"postgresql": POSTGRESQL_FORBID, "sqlite": SQLITE_FORBID})


def allow(apps, schema_editor):
    _run(schema_editor, {"postgresql": POSTGRESQL_ALLOW, "sqlite": SQLITE_ALLOW})


def _run(schema_editor, statements):
    for statement in statements.get(schema_editor.connection.vendor, ()):
        schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("clinic", "0001_initial")]

    operations = [migrations.RunPython(forbid, allow)]
