"""At most one verified sheet for a damper model, vehicle model, position and model year: the database says so itself.

PostgreSQL has an exclusion constraint for it; SQLite, where writers come one after the other, a trigger.
SQLite drops triggers when a later migration rebuilds the table: such a migration has to run SQLITE again.
"""

from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations

MESSAGE = "specsheet_one_answer"

POSTGRESQL = [
    """
    ALTER TABLE specs_specsheet ADD CONSTRAINT specsheet_one_answer EXCLUDE USING gist (
        damper_model_id WITH =,
        (coalesce(vehicle_model_id, 0)) WITH =,
        position WITH =,
        int4range(coalesce(year_from::int, 0), coalesce(year_to::int, 9999), '[]') WITH &&
    ) WHERE (status = 'verified')
    """
]

OVERLAP = f"""
    WHEN NEW.status = 'verified' AND EXISTS (
        SELECT 1 FROM specs_specsheet other
        WHERE other.status = 'verified' AND other.id <> NEW.id
          AND other.damper_model_id = NEW.damper_model_id
          AND coalesce(other.vehicle_model_id, 0) = coalesce(NEW.vehicle_model_id, 0)
          AND other.position = NEW.position
          AND coalesce(other.year_from, 0) <= coalesce(NEW.year_to, 9999)
          AND coalesce(NEW.year_from, 0) <= coalesce(other.year_to, 9999)
    )
    BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END
"""
SQLITE = [
    f"CREATE TRIGGER specsheet_one_answer_insert AFTER INSERT ON specs_specsheet FOR EACH ROW {OVERLAP}",
    f"CREATE TRIGGER specsheet_one_answer_update AFTER UPDATE ON specs_specsheet FOR EACH ROW {OVERLAP}",
]


def add(apps, schema_editor):
    for statement in POSTGRESQL if schema_editor.connection.vendor == "postgresql" else SQLITE:
        schema_editor.execute(statement)


def remove(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("ALTER TABLE specs_specsheet DROP CONSTRAINT specsheet_one_answer")
    else:
        schema_editor.execute("DROP TRIGGER specsheet_one_answer_insert")
        schema_editor.execute("DROP TRIGGER specsheet_one_answer_update")


class Migration(migrations.Migration):
    dependencies = [("specs", "0001_initial")]

    operations = [BtreeGistExtension(), migrations.RunPython(add, remove)]
