from importlib import import_module

import pytest
from django.apps import apps
from django.core.cache import cache
from django.db.backends.sqlite3.base import DatabaseOperations as SQLiteOperations
from django.test import TestCase, TransactionTestCase

from shop.staff.models import Role
from tests import factories

pytest_plugins = ["tests.servers"]


@pytest.fixture
def desk(db):
    return factories.make_user(Role.DESK, first_name="Dora", last_name="Achterberg")


@pytest.fixture
def technician(db):
    return factories.make_user(Role.TECHNICIAN, first_name="Tobias", last_name="Nkemelu")


@pytest.fixture
def second(db):
    return factories.make_user(Role.TECHNICIAN, first_name="Rosa", last_name="Odumbe")


@pytest.fixture
def manager(db):
    return factories.make_user(Role.MANAGER, first_name="Mika", last_name="Sorensdal")


@pytest.fixture(autouse=True)
def no_tries_counted():
    """None of an earlier test's tries to log in counts in the next."""
    cache.clear()


@pytest.fixture(scope="session", autouse=True)
def sqlite_can_be_emptied():
    """Between tests with real commits Django empties all tables: TRUNCATE on PostgreSQL, which row triggers do not see,
    but DELETE on SQLite, which the append-only triggers refuse. So there they are dropped and made again around it."""
    original = SQLiteOperations.sql_flush

    def sql_flush(self, *args, **kwargs):
        with self.connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
        drop = [f"DROP TRIGGER {name}" for name, _ in triggers]
        return [*drop, *original(self, *args, **kwargs), *(sql for _, sql in triggers)]

    SQLiteOperations.sql_flush = sql_flush
    yield
    SQLiteOperations.sql_flush = original


@pytest.fixture(scope="session", autouse=True)
def migrated_data_comes_back():
    """The same emptying takes the default procedure and interval that migrations brought: run these again."""
    original = TransactionTestCase._fixture_teardown

    def teardown(self):
        original(self)
        if not isinstance(self, TestCase):
            for name in ("0003_default_procedure", "0004_default_interval"):
                import_module(f"shop.specs.migrations.{name}").add(apps, None)

    TransactionTestCase._fixture_teardown = teardown
    yield
    TransactionTestCase._fixture_teardown = original
