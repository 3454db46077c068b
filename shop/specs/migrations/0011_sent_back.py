"""A draft in which a second person finds something amiss goes back to who entered it, with a note.

Both columns are null without a note, so that SQLite adds them without building the table anew and dropping its triggers.
"""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

NAME = "specs_specsheet_sent_back_frozen"
MESSAGE = "specs_specsheet is frozen once verified: only a draft is sent back"


def freeze(apps, schema_editor):
    """What was verified or withdrawn gets no note any more and keeps none but its own."""
    postgresql = schema_editor.connection.vendor == "postgresql"
    differs = "IS DISTINCT FROM" if postgresql else "IS NOT"
    changed = " OR ".join(f"NEW.{one} {differs} OLD.{one}" for one in ("sent_back_why", "sent_back_by_id"))
    when = f"OLD.status <> 'draft' AND ({changed})"
    if postgresql:
        schema_editor.execute(
            f"CREATE OR REPLACE FUNCTION {NAME}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"IF {when} THEN RAISE EXCEPTION '{MESSAGE}' USING ERRCODE = 'check_violation'; END IF; RETURN NEW; END $$"
        )
        schema_editor.execute(
            f"CREATE TRIGGER {NAME} BEFORE UPDATE ON specs_specsheet FOR EACH ROW EXECUTE FUNCTION {NAME}()"
        )
    else:
        schema_editor.execute(
            f"CREATE TRIGGER {NAME} BEFORE UPDATE ON specs_specsheet FOR EACH ROW WHEN {when} "
            f"BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
        )


def thaw(apps, schema_editor):
    on = " ON specs_specsheet" if schema_editor.connection.vendor == "postgresql" else ""
    schema_editor.execute(f"DROP TRIGGER IF EXISTS {NAME}{on}")


class Migration(migrations.Migration):
    dependencies = [("specs", "0010_scans"), migrations.swappable_dependency(settings.AUTH_USER_MODEL)]

    operations = [
        migrations.AddField(
            "specsheet",
            "sent_back_by",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            "specsheet",
            "sent_back_why",
            models.CharField(
                blank=True,
                help_text="What a second person found amiss; gone with the next edition.",
                max_length=300,
                null=True,
            ),
        ),
        migrations.RunPython(freeze, thaw),
    ]
