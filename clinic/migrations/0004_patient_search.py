"""Names are found without their apostrophes and hyphens, and any part of a name or number by an index.

SQLite reads the whole table instead, which takes some milliseconds for 50,000 patients.
"""

from django.db import migrations
from django.db.models import Q

from clinic.rules.text import find_key

INDEXES = (
    "CREATE EXTENSION IF NOT EXISTS pg_trgm",
    "CREATE INDEX IF NOT EXISTS patient_search_parts ON clinic_patient USING gin (search_text gin_trgm_ops)",
    "CREATE INDEX IF NOT EXISTS patient_phone_parts ON clinic_patient USING gin (phone gin_trgm_ops)",
)
NO_INDEXES = ("DROP INDEX IF EXISTS patient_search_parts", "DROP INDEX IF EXISTS patient_phone_parts")


def keys(apps, schema_editor):
    patients = apps.get_model("clinic", "Patient").objects.using(schema_editor.connection.alias)
    joined = patients.filter(Q(search_text__contains="'") | Q(search_text__contains="-"))
    for patient in joined.only("id", "full_name").iterator(chunk_size=500):
        patients.filter(pk=patient.pk).update(search_text=find_key(patient.full_name))


def index(apps, schema_editor):
    _run(schema_editor, INDEXES)


def no_index(apps, schema_editor):
    _run(schema_editor, NO_INDEXES)


def _run(schema_editor, statements):
    if schema_editor.connection.vendor == "postgresql":
        for statement in statements:
            schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("clinic", "0003_patient_import")]

    operations = [migrations.RunPython(keys, migrations.RunPython.noop), migrations.RunPython(index, no_index)]
