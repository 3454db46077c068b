"""Pages of the source as pictures. What was verified keeps those it was held against; no page is ever changed."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLE, MESSAGE = "specs_sheetscan", "specs_sheetscan is kept with its sheet"
RULES = [
    ("UPDATE", "TRUE"),
    ("DELETE", "EXISTS (SELECT 1 FROM specs_specsheet WHERE id = OLD.sheet_id AND status <> 'draft')"),
]


def add(apps, schema_editor):
    for event, when in RULES:
        name = f"{TABLE}_kept_{event.lower()}"
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(
                f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
                f"IF {when} THEN RAISE EXCEPTION '{MESSAGE}' USING ERRCODE = 'check_violation'; END IF; "
                "RETURN OLD; END $$"
            )
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE {event} ON {TABLE} FOR EACH ROW EXECUTE FUNCTION {name}()"
            )
        else:
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE {event} ON {TABLE} FOR EACH ROW WHEN {when} "
                f"BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
            )


def remove(apps, schema_editor):
    on = f" ON {TABLE}" if schema_editor.connection.vendor == "postgresql" else ""
    for event, _ in RULES:
        schema_editor.execute(f"DROP TRIGGER {TABLE}_kept_{event.lower()}{on}")


class Migration(migrations.Migration):
    dependencies = [("specs", "0009_first_editions"), migrations.swappable_dependency(settings.AUTH_USER_MODEL)]

    operations = [
        migrations.CreateModel(
            "SheetScan",
            [
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveSmallIntegerField()),
                ("digest", models.CharField(help_text="SHA-256 of the picture; the name of its file.", max_length=64)),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
                ("file_name", models.CharField(help_text="As it was handed in.", max_length=200)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="scans", to="specs.specsheet"
                    ),
                ),
            ],
            options={
                "ordering": ["sheet", "number"],
                "constraints": [
                    models.UniqueConstraint(fields=("sheet", "number"), name="sheetscan_number_once"),
                    models.UniqueConstraint(fields=("sheet", "digest"), name="sheetscan_page_once"),
                ],
            },
        ),
        migrations.RunPython(add, remove),
    ]
