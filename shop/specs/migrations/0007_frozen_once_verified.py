"""What somebody has verified stays as it was verified: a change is a new version, for every road into the database.

SQLite drops triggers when a later migration rebuilds a table: such a migration has to run this again.
"""

from django.db import migrations

FROZEN = [
    "code", "version", "damper_model_id", "vehicle_model_id", "position", "year_from", "year_to", "source_document",
    "source_revision", "source_page", "note", "entered_by_id", "entered_at", "verified_by_id", "verified_at",
    "replaces_id", "reference_k", "reference_altitude_m", "flag_reason",
]  # fmt: skip
SHEET = "specs_specsheet is frozen once verified: enter a next version"
VALUE = "specs_specvalue is frozen with its sheet: enter a next version"


def statements(vendor, columns=FROZEN):
    differs, equal = ("IS DISTINCT FROM", "=") if vendor == "postgresql" else ("IS NOT", "IS")
    changed = " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in columns)
    sheet = (
        f"OLD.status <> 'draft' AND (({changed}) OR NOT (NEW.status {equal} OLD.status "
        "OR (OLD.status = 'verified' AND NEW.status = 'withdrawn')))"
    )

    def verified(row):
        return f"EXISTS (SELECT 1 FROM specs_specsheet WHERE id = {row}.sheet_id AND status <> 'draft')"

    rules = [
        ("specs_specsheet", "UPDATE", sheet, SHEET),
        ("specs_specsheet", "DELETE", "OLD.status <> 'draft'", SHEET),
        ("specs_specvalue", "INSERT", verified("NEW"), VALUE),
        ("specs_specvalue", "UPDATE", f"{verified('OLD')} OR {verified('NEW')}", VALUE),
        ("specs_specvalue", "DELETE", verified("OLD"), VALUE),
    ]
    for table, event, when, message in rules:
        name = f"{table}_frozen_{event.lower()}"
        if vendor == "postgresql":
            row = "OLD" if event == "DELETE" else "NEW"
            yield (
                f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
                f"IF {when} THEN RAISE EXCEPTION '{message}' USING ERRCODE = 'check_violation'; END IF; "
                f"RETURN {row}; END $$"
            )
            yield f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()"
        else:
            yield (
                f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW WHEN {when} "
                f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
            )


def add(apps, schema_editor):
    for statement in statements(schema_editor.connection.vendor):
        schema_editor.execute(statement)


def remove(apps, schema_editor):
    for table, events in [
        ("specs_specsheet", ["update", "delete"]),
        ("specs_specvalue", ["insert", "update", "delete"]),
    ]:
        on = f" ON {table}" if schema_editor.connection.vendor == "postgresql" else ""
        for event in events:
            schema_editor.execute(f"DROP TRIGGER {table}_frozen_{event}{on}")


class Migration(migrations.Migration):
    dependencies = [("specs", "0006_flags_kept")]

    operations = [migrations.RunPython(add, remove)]
