"""A draft is changed edition by edition, and a next version that was withdrawn makes room for another one."""

from importlib import import_module

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import Q

from shop.core.triggers import AppendOnly

ONE_ANSWER = import_module("shop.specs.migrations.0002_one_answer")
FROZEN = import_module("shop.specs.migrations.0007_frozen_once_verified")
SHEET, VALUE = "specs_specsheet", "specs_specvalue"


def take_off(apps, schema_editor):
    """SQLite cannot rebuild the sheets while a trigger of their figures asks for them."""
    vendor = schema_editor.connection.vendor
    for table, events in [(SHEET, ["update", "delete"]), (VALUE, ["insert", "update", "delete"])]:
        on = f" ON {table}" if vendor == "postgresql" else ""
        for event in events:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {table}_frozen_{event}{on}")
    if vendor == "sqlite":
        for event in ("insert", "update"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS specsheet_one_answer_{event}")


def put_on(apps, schema_editor):
    """The edition is frozen with the rest."""
    vendor = schema_editor.connection.vendor
    one_answer = ONE_ANSWER.SQLITE if vendor == "sqlite" else []
    for statement in [*one_answer, *FROZEN.statements(vendor, [*FROZEN.FROZEN, "edition"])]:
        schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("specs", "0007_frozen_once_verified"), migrations.swappable_dependency(settings.AUTH_USER_MODEL)]

    operations = [
        migrations.RunPython(take_off, migrations.RunPython.noop),
        migrations.AlterField(
            "specsheet",
            "replaces",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="next_versions",
                to="specs.specsheet",
            ),
        ),
        migrations.AddField(
            "specsheet",
            "edition",
            models.PositiveSmallIntegerField(
                default=1, help_text="Counts the changes of the draft, so that what is verified is what was compared."
            ),
        ),
        migrations.AddConstraint(
            "specsheet",
            models.UniqueConstraint(
                condition=~Q(status="withdrawn"),
                fields=("replaces",),
                name="specsheet_one_next_version",
                violation_error_message="This sheet has a next version already. Change that one.",
            ),
        ),
        migrations.RunPython(put_on, take_off),
        migrations.CreateModel(
            "SheetEdition",
            [
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveSmallIntegerField()),
                ("at", models.DateTimeField()),
                ("why", models.CharField(blank=True, max_length=300)),
                ("content", models.JSONField(help_text="Everything the sheet said, see shop/specs/history.py.")),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="editions", to="specs.specsheet"
                    ),
                ),
            ],
            options={"ordering": ["sheet", "number"]},
        ),
        migrations.AddConstraint(
            "sheetedition",
            models.UniqueConstraint(fields=("sheet", "number"), name="sheetedition_number_once"),
        ),
        AppendOnly("specs_sheetedition"),
    ]
