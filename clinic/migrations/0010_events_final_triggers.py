"""Events are only ever added: the database itself refuses to change one, and to delete one that no door lets out.

A later migration that makes SQLite rebuild the table of events drops its triggers and has to run forbid again.
"""

from django.db import migrations

POSTGRESQL_FORBID = (
    "CREATE OR REPLACE FUNCTION clinic_event_final() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
    "IF TG_OP = 'DELETE' AND OLD.at < (SELECT max(before) FROM clinic_eventdoor) THEN RETURN OLD; END IF; "
    "RAISE EXCEPTION 'event_final' USING ERRCODE = 'integrity_constraint_violation'; END $$",
    "CREATE TRIGGER event_final BEFORE UPDATE OR DELETE ON clinic_event "
    "FOR EACH ROW EXECUTE FUNCTION clinic_event_final()",
)
POSTGRESQL_ALLOW = (
    "DROP TRIGGER IF EXISTS event_final ON clinic_event",
    "DROP FUNCTION IF EXISTS clinic_event_final()",
)

_REFUSE = "BEGIN SELECT RAISE(ABORT, 'event_final'); END"
SQLITE_FORBID = (
    f"CREATE TRIGGER IF NOT EXISTS event_final_update BEFORE UPDATE ON clinic_event {_REFUSE}",
    "CREATE TRIGGER IF NOT EXISTS event_final_delete BEFORE DELETE ON clinic_event "
    f"WHEN NOT EXISTS (SELECT 1 FROM clinic_eventdoor WHERE before > OLD.at) {_REFUSE}",
)
SQLITE_ALLOW = (
    "DROP TRIGGER IF EXISTS event_final_update",
    "DROP TRIGGER IF EXISTS event_final_delete",
)


def forbid(apps, schema_editor):
    _run(schema_editor, {"postgresql": POSTGRESQL_FORBID, "sqlite": SQLITE_FORBID})


def allow(apps, schema_editor):
    _run(schema_editor, {"postgresql": POSTGRESQL_ALLOW, "sqlite": SQLITE_ALLOW})


def _run(schema_editor, statements):
    for statement in statements.get(schema_editor.connection.vendor, ()):
        # No parameters: the driver would look for them in the text of the function.
        schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("clinic", "0009_events_final")]

    operations = [migrations.RunPython(forbid, allow)]
