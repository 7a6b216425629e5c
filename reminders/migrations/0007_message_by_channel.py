"""On PostgreSQL a list of one channel's messages is found by an index: they may be a handful among a million.

As the index of kinds it holds no message that is still to go. SQLite reads the list instead.
"""

from django.db import migrations

MAKE = (
    "CREATE INDEX IF NOT EXISTS message_by_channel ON reminders_message (channel, state, planned_for DESC, id DESC) "
    "WHERE state IN ('sent', 'dropped', 'missed', 'failed', 'uncertain')"
)
DROP = "DROP INDEX IF EXISTS message_by_channel"


def make(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(MAKE)


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(DROP)


class Migration(migrations.Migration):
    dependencies = [("reminders", "0006_message_of_a_kind")]

    operations = [migrations.RunPython(make, drop)]
