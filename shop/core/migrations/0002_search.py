"""The search entries and their trigram indexes. What keeps them in step comes on behind the last migration."""

from django.contrib.postgres.operations import TrigramExtension
from django.db import ProgrammingError, migrations, models

POSTGRESQL = [
    "CREATE INDEX searchentry_text ON core_searchentry USING gin (text gin_trgm_ops)",  # the one box
    "CREATE INDEX searchword_alike ON core_searchword USING gin (word gin_trgm_ops)",  # slips of the finger
]
SQLITE = [
    "CREATE VIRTUAL TABLE core_searchentry_index USING fts5 "
    "(text, content = 'core_searchentry', content_rowid = 'id', tokenize = 'trigram')",
    "CREATE VIRTUAL TABLE core_searchword_index USING fts5 "
    "(word, content = 'core_searchword', content_rowid = 'id', tokenize = 'trigram')",
]
OLD_SQLITE = (
    "This SQLite ({version}) has no full-text search by three letters: the search needs SQLite 3.34 or newer with FTS5. "
    "Debian 12 and newer, and Ubuntu 22.04 and newer, bring one; or use PostgreSQL."
)
NOT_ALLOWED = (
    "The extension pg_trgm is missing in the database, and this role may not create it. As a superuser run in that "
    "database: CREATE EXTENSION pg_trgm; then migrate again. It comes with PostgreSQL (Debian: postgresql-contrib)."
)


class Trigrams(TrigramExtension):
    """pg_trgm; any owner of a database may create it since PostgreSQL 13. Else it is said what to do."""

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        try:
            super().database_forwards(app_label, schema_editor, from_state, to_state)
        except ProgrammingError as error:
            raise ProgrammingError(NOT_ALLOWED) from error


def index(apps, schema_editor):
    if schema_editor.connection.vendor == "sqlite":
        version = schema_editor.connection.Database.sqlite_version_info
        if version < (3, 34):
            raise RuntimeError(OLD_SQLITE.format(version=".".join(map(str, version))))
    for statement in POSTGRESQL if schema_editor.connection.vendor == "postgresql" else SQLITE:
        schema_editor.execute(statement)


def unindex(apps, schema_editor):
    if schema_editor.connection.vendor == "sqlite":
        for table in ("core_searchentry_index", "core_searchword_index"):
            schema_editor.execute(f"DROP TABLE IF EXISTS {table}")


class Migration(migrations.Migration):
    dependencies = [("core", "0001_initial")]

    operations = [
        Trigrams(),
        migrations.CreateModel(
            "SearchEntry",
            [
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("kind", models.CharField(max_length=10)),
                ("key", models.BigIntegerField(help_text="Primary key of the row that is found.")),
                ("customer", models.BigIntegerField(help_text="Primary key of its owner.")),
                ("past", models.BooleanField(help_text="Sold, called off, merged into another: comes last.")),
                ("own", models.TextField(help_text="Its own names and numbers.")),
                (
                    "text",
                    models.TextField(help_text="Those, and the names and numbers of its owner and of what it sits on."),
                ),
            ],
            options={"verbose_name_plural": "search entries"},
        ),
        migrations.CreateModel(
            "SearchWord",
            [
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "word",
                    models.CharField(
                        db_index=True, help_text="With two spaces before it and one behind.", max_length=43
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            "searchentry", models.UniqueConstraint(fields=("kind", "key"), name="searchentry_once")
        ),
        migrations.RunPython(index, unindex),
    ]
