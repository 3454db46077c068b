"""Migration operations for rules that no table constraint can hold: rows and columns that are written once.

A trigger refuses for every road into the database, also a shell. SQLite drops a table's triggers when a later migration
rebuilds the table, so such a migration repeats the operation; tests/test_append_only.py finds a forgotten one.
"""

from django.db.migrations.operations.base import Operation


class _Trigger(Operation):
    reversible = True
    reduces_to_sql = True

    def state_forwards(self, app_label, state):
        pass

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        if schema_editor.connection.vendor == "postgresql":
            statements = self.postgresql()
        else:
            statements = self.sqlite()
        for statement in statements:
            schema_editor.execute(statement)

    def database_backwards(self, app_label, schema_editor, from_state, to_state):
        on = f" ON {self.table}" if schema_editor.connection.vendor == "postgresql" else ""
        for name in self.names():
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")

    def _postgresql(self, name, event, when, message):
        return [
            f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"RAISE EXCEPTION '{message}' USING ERRCODE = 'check_violation'; END $$",
            f"DROP TRIGGER IF EXISTS {name} ON {self.table}",
            f"CREATE TRIGGER {name} BEFORE {event} ON {self.table} FOR EACH ROW {when} EXECUTE FUNCTION {name}()",
        ]

    def _sqlite(self, name, event, when, message):
        return [
            f"DROP TRIGGER IF EXISTS {name}",
            f"CREATE TRIGGER {name} BEFORE {event} ON {self.table} FOR EACH ROW {when} "
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END",
        ]


class AppendOnly(_Trigger):
    """Rows of the table can be added and never changed or deleted."""

    def __init__(self, table):
        self.table = table

    def names(self):
        return [f"{self.table}_no_update", f"{self.table}_no_delete"]

    def postgresql(self):
        return [
            *self._postgresql(f"{self.table}_no_update", "UPDATE", "", self.message()),
            *self._postgresql(f"{self.table}_no_delete", "DELETE", "", self.message()),
        ]

    def sqlite(self):
        return [
            *self._sqlite(f"{self.table}_no_update", "UPDATE", "", self.message()),
            *self._sqlite(f"{self.table}_no_delete", "DELETE", "", self.message()),
        ]

    def message(self):
        return f"{self.table} is append-only: add a row that corrects the old one"

    def describe(self):
        return f"Let rows of {self.table} be added only"


class WriteOnce(_Trigger):
    """The column can be set while it is null, and then never changed."""

    def __init__(self, table, column):
        self.table, self.column = table, column

    def names(self):
        return [f"{self.table}_{self.column}_once"]

    def _parts(self, differs):
        return (
            self.names()[0],
            f"UPDATE OF {self.column}",
            f"WHEN (OLD.{self.column} IS NOT NULL AND NEW.{self.column} {differs} OLD.{self.column})",
            f"{self.table}.{self.column} is frozen once set",
        )

    def postgresql(self):
        return self._postgresql(*self._parts("IS DISTINCT FROM"))

    def sqlite(self):
        return self._sqlite(*self._parts("IS NOT"))

    def describe(self):
        return f"Freeze {self.table}.{self.column} once it is set"
