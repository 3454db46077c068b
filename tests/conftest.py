from importlib import import_module

import pytest
from django.apps import apps
from django.core.cache import cache
from django.db.backends.sqlite3.base import DatabaseOperations as SQLiteOperations
from django.test import TestCase, TransactionTestCase

from shop.specs.models import Procedure, Step
from shop.staff.models import Role
from tests import factories

SEARCH_INDEXES = ["core_searchentry_index", "core_searchword_index"]
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
    but DELETE on SQLite, which the append-only triggers refuse. So there they are dropped and made again around it, and
    the indexes of the search, which triggers keep in step, are told to begin anew."""
    original = SQLiteOperations.sql_flush

    def sql_flush(self, *args, **kwargs):
        with self.connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
        drop = [f"DROP TRIGGER {name}" for name, _ in triggers]
        anew = [f"INSERT INTO {index} ({index}) VALUES ('rebuild')" for index in SEARCH_INDEXES]
        return [*drop, *original(self, *args, **kwargs), *anew, *(sql for _, sql in triggers)]

    SQLiteOperations.sql_flush = sql_flush
    yield
    SQLiteOperations.sql_flush = original


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """The same emptying takes the default procedure and interval that migrations brought: put them back.

    Procedures as drafts first: a step cannot be added to one that is current.
    """
    original = TransactionTestCase._fixture_teardown
    with django_db_blocker.unblock():
        procedures, steps = list(Procedure.objects.order_by("pk")), list(Step.objects.order_by("pk"))
    state = {one.pk: {"made_current_at": one.made_current_at, "current": one.current} for one in procedures}

    def teardown(self):
        original(self)
        if isinstance(self, TestCase):
            return
        for one in procedures:
            one.made_current_at, one.current = None, False
            Procedure.objects.bulk_create([one])
            Step.objects.bulk_create([step for step in steps if step.procedure_id == one.pk])
            Procedure.objects.filter(pk=one.pk).update(**state[one.pk])
        import_module("shop.specs.migrations.0004_default_interval").add(apps, None)

    TransactionTestCase._fixture_teardown = teardown
    yield
    TransactionTestCase._fixture_teardown = original
