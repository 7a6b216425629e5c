"""On PostgreSQL a list of one kind of message is found by an index: it may be a handful among a million.

It holds no message that is still to go, so that the engine writes to it once for each, when it is done with it.
SQLite reads the list instead, which takes some hundredths of a second for 100,000 messages.
"""

from django.db import migrations

MAKE = (
    "CREATE INDEX IF NOT EXISTS message_of_a_kind ON reminders_message (kind, state, planned_for DESC, id DESC) "
    "WHERE state IN ('sent', 'dropped', 'missed', 'failed', 'uncertain')"
)
DROP = "DROP INDEX IF EXISTS message_of_a_kind"


def make(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(MAKE)


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(DROP)


class Migration(migrations.Migration):
    dependencies = [("reminders", "0005_key_index_whole")]

    operations = [migrations.RunPython(make, drop)]
