"""What is said when a database cannot have the search, and that the triggers survive every migration."""

from importlib import import_module

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import ProgrammingError, connection, transaction

from shop.core.search import index
from shop.core.tasks import mend_search
from tests import factories as make

migration = import_module("shop.core.migrations.0002_search")


@transaction.atomic
def migrate_without_permission():
    with connection.cursor() as cursor:
        cursor.execute("DROP EXTENSION pg_trgm CASCADE")
        cursor.execute("CREATE ROLE damperbook_may_not")
        cursor.execute("SET LOCAL ROLE damperbook_may_not")
    with connection.schema_editor(atomic=False) as editor:
        migration.Trigrams().database_forwards("core", editor, None, None)


@pytest.mark.django_db
def test_a_role_that_may_not_create_the_extension_is_told_what_to_do():
    with pytest.raises(ProgrammingError, match="CREATE EXTENSION pg_trgm"):
        migrate_without_permission()


@pytest.mark.flow
def test_an_sqlite_without_trigrams_is_named_with_its_version():
    assert "3.7.17" in migration.OLD_SQLITE.format(version="3.7.17")


@pytest.mark.flow
def test_every_kind_has_its_triggers_after_all_migrations(db):
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT tgname FROM pg_trigger")
        there = {name for (name,) in cursor.fetchall()}
    wanted = {name for source in index.sources() for name, *_ in source.triggers(connection.vendor)}
    assert wanted <= there
    assert {source.kind for source in index.sources()} == {"customer", "vehicle", "damper", "order"}


@pytest.mark.flow
@pytest.mark.django_db
def test_a_column_that_an_entry_speaks_of_is_a_column_of_its_table():
    columns = {
        model._meta.db_table: {field.column for field in model._meta.concrete_fields} for model in apps.get_models()
    }
    for source in index.sources():
        assert set(source.columns) <= columns[source.table], source.kind
        for watch in source.watches:
            assert set(watch.columns) <= columns[watch.table], (source.kind, watch.table)


@pytest.mark.flow
@pytest.mark.django_db
def test_the_rebuild_of_an_empty_book_writes_nothing(capsys):
    call_command("rebuild_search")
    assert "0 search entries" in capsys.readouterr().out


def test_the_night_mends_what_two_writes_left_astray(db):
    customer = make.make_customer(name="Theo Marsh-Lindqvist")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE core_searchentry SET own = %s WHERE key = %s", ["  somebody  ", customer.pk])
    assert index.astray()
    mend_search()
    assert index.astray() == 0
