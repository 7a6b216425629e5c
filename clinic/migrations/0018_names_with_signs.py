"""On PostgreSQL names with signs that few names hold are found by an index; the index of trigrams knows no signs."""

from django.db import migrations

MAKE = (
    "CREATE INDEX IF NOT EXISTS patient_with_signs ON clinic_patient (search_text, id) "
    "WHERE (search_text)::text ~ '[!#$%&*+/:;<=>?@_|~]' AND erased_at IS NULL"
)
DROP = "DROP INDEX IF EXISTS patient_with_signs"


def make(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(MAKE, params=None)


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(DROP)


class Migration(migrations.Migration):
    dependencies = [("clinic", "0017_patient_language")]

    operations = [migrations.RunPython(make, drop)]
