"""PostgreSQL empties a table by TRUNCATE without asking the triggers of its rows: that is refused, too.

SQLite has no TRUNCATE, and its DELETE without a condition asks each row's trigger.
"""

from django.db import migrations

FORBID = (
    "CREATE TRIGGER event_final_truncate BEFORE TRUNCATE ON clinic_event "
    "FOR EACH STATEMENT EXECUTE FUNCTION clinic_event_final()"
)
ALLOW = "DROP TRIGGER IF EXISTS event_final_truncate ON clinic_event"


def forbid(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(FORBID, params=None)


def allow(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(ALLOW, params=None)


class Migration(migrations.Migration):
    dependencies = [("clinic", "0018_names_with_signs")]

    operations = [migrations.RunPython(forbid, allow)]
