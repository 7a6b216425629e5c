"""A migration runs while the version before it still serves: it only adds, and what it adds can be left out.

Taking away and renaming come one version later, when nothing that serves still asks for the old name.
"""

from collections.abc import Sequence

import pytest
from django.db import migrations, models
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation

BEFORE_THE_RULE = {"clinic": 20, "taping": 7, "reminders": 7}
"""Numbers of the last migrations that no version ever served before: they are not held to it."""
ALLOWED: dict[str, str] = {}
"""Migration, as in clinic.0099_name, to why it may break the rule all the same."""
TAKES_AWAY = (migrations.RemoveField, migrations.DeleteModel)
RENAMES = (migrations.RenameField, migrations.RenameModel, migrations.AlterModelTable)


def unsafe(operation: Operation) -> str:
    """Why the version before would fail while it serves on the new tables; empty where it would not."""
    if isinstance(operation, TAKES_AWAY):
        return "takes away what the version before still reads"
    if isinstance(operation, RENAMES):
        return "renames what the version before still asks for"
    if isinstance(operation, migrations.AddField):
        return "" if _may_be_left_out(operation.field) else "adds a column that the version before does not fill"
    if isinstance(operation, migrations.AlterField) and not _may_be_left_out(operation.field):
        return "changes a column that may not be empty and has no default in the database: say why that holds"
    if isinstance(operation, migrations.AddConstraint):
        return "adds a rule that the version before may break: say why it cannot"
    if isinstance(operation, migrations.SeparateDatabaseAndState):
        return next(filter(None, map(unsafe, operation.database_operations)), "")
    return ""


def _may_be_left_out(field: models.Field) -> bool:  # type: ignore[type-arg]
    """Django's own default is not the database's: an INSERT of the version before does not name the column."""
    return field.null or field.many_to_many or field.db_default is not models.NOT_PROVIDED


def faults(name: str, operations: Sequence[Operation]) -> list[str]:
    return [f"{name}: {operation.describe()}: {why}" for operation in operations if (why := unsafe(operation))]


def test_every_migration_since_the_rule_lets_the_version_before_serve() -> None:
    loader = MigrationLoader(None)
    found: list[str] = []
    for (app, name), migration in sorted(loader.disk_migrations.items()):
        last = BEFORE_THE_RULE.get(app)
        if last is not None and int(name[:4]) > last and f"{app}.{name}" not in ALLOWED:
            found += faults(f"{app}.{name}", migration.operations)
    assert found == []


def test_the_list_of_what_came_before_is_of_migrations_that_exist() -> None:
    loader = MigrationLoader(None)
    numbers = {app: {int(name[:4]) for one, name in loader.disk_migrations if one == app} for app in BEFORE_THE_RULE}
    assert {app: last in numbers[app] for app, last in BEFORE_THE_RULE.items()} == dict.fromkeys(BEFORE_THE_RULE, True)
    assert set(ALLOWED) <= {f"{app}.{name}" for app, name in loader.disk_migrations}


CHECK = models.CheckConstraint(condition=models.Q(size__gt=0), name="size")


@pytest.mark.parametrize(
    "operation",
    [
        migrations.RemoveField("clinic", "name"),
        migrations.RenameField("clinic", "name", "called"),
        migrations.RenameModel("Clinic", "Practice"),
        migrations.DeleteModel("Clinic"),
        migrations.AddField("clinic", "motto", models.CharField(max_length=9)),
        migrations.AddField("clinic", "motto", models.CharField(max_length=9, default="")),
        migrations.AlterField("clinic", "name", models.CharField(max_length=9)),
        migrations.AddConstraint("clinic", CHECK),
        migrations.SeparateDatabaseAndState([migrations.RemoveField("clinic", "name")], []),
    ],
    ids=lambda one: type(one).__name__,
)
def test_what_would_break_the_version_before_is_refused(operation: Operation) -> None:
    assert len(faults("clinic.0099", [operation])) == 1


@pytest.mark.parametrize(
    "operation",
    [
        migrations.CreateModel("Motto", [("id", models.BigAutoField(primary_key=True))]),
        migrations.AddField("clinic", "motto", models.CharField(max_length=9, null=True)),
        migrations.AddField("clinic", "motto", models.CharField(max_length=9, default="", db_default="")),
        migrations.AddIndex("clinic", models.Index(fields=["name"], name="by_name")),
        migrations.RemoveIndex("clinic", "by_name"),
        migrations.RunPython(migrations.RunPython.noop),
    ],
    ids=lambda one: type(one).__name__,
)
def test_what_only_adds_is_let_through(operation: Operation) -> None:
    assert faults("clinic.0099", [operation]) == []
