"""A procedure that is or was current stays as it was, step by step, for every road into the database.

Jobs keep the version they began with, so a change would rewrite what their signatures stand under. SQLite drops
triggers when a later migration rebuilds a table: such a migration has to run this again.
"""

from django.db import migrations

FROZEN = ["name", "version", "edition", "copied_from_id", "drafted_by_id", "drafted_at"]
PROCEDURE = "specs_procedure is frozen once current: draft a next version"
STEP = "specs_step is frozen with its procedure: draft a next version"


def statements(vendor):
    differs = "IS DISTINCT FROM" if vendor == "postgresql" else "IS NOT"
    changed = " OR ".join(f"NEW.{column} {differs} OLD.{column}" for column in FROZEN)

    def kept(row):
        return f"EXISTS (SELECT 1 FROM specs_procedure WHERE id = {row}.procedure_id AND made_current_at IS NOT NULL)"

    rules = [
        (
            "specs_procedure",
            "UPDATE",
            f"OLD.made_current_at IS NOT NULL AND ({changed} OR NEW.made_current_at IS NULL)",
            PROCEDURE,
        ),
        ("specs_procedure", "DELETE", "OLD.made_current_at IS NOT NULL", PROCEDURE),
        ("specs_step", "INSERT", kept("NEW"), STEP),
        ("specs_step", "UPDATE", f"{kept('OLD')} OR {kept('NEW')}", STEP),
        ("specs_step", "DELETE", kept("OLD"), STEP),
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
    for table, events in [("specs_procedure", ["update", "delete"]), ("specs_step", ["insert", "update", "delete"])]:
        on = f" ON {table}" if schema_editor.connection.vendor == "postgresql" else ""
        for event in events:
            schema_editor.execute(f"DROP TRIGGER {table}_frozen_{event}{on}")


class Migration(migrations.Migration):
    dependencies = [("specs", "0016_procedure_rules")]

    operations = [migrations.RunPython(add, remove)]
