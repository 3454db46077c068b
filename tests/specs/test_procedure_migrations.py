"""What a shop that works already finds after the update: its own procedure is left alone, the shipped one goes on."""

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from shop.specs.models import Procedure, Step

pytestmark = pytest.mark.django_db(transaction=True)
BEFORE, AFTER = ("specs", "0016_procedure_rules"), ("specs", "0018_rebuild_version_2")


@pytest.fixture
def back_to_version_1():
    """The tables as they were before the procedures were frozen, with version 1 alone."""
    MigrationExecutor(connection).migrate([BEFORE])
    Step.objects.filter(procedure__version=2).delete()
    Procedure.objects.filter(version=2).delete()
    Procedure.objects.update(current=True)
    yield
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())


def go_on():
    MigrationExecutor(connection).migrate([AFTER])
    return list(Procedure.objects.order_by("version").values_list("version", "current"))


def test_a_shop_that_works_by_version_1_as_it_came_goes_on_with_version_2(back_to_version_1):
    assert go_on() == [(1, False), (2, True)]


@pytest.mark.parametrize("change", [{"text": "As we do it."}, {"critical": True}, {"stage": "Before"}], ids=str)
def test_a_shop_that_changed_version_1_keeps_it(back_to_version_1, change):
    Step.objects.filter(number=2).update(**change)
    assert go_on() == [(1, True)]


def test_a_shop_that_works_by_another_procedure_keeps_it(back_to_version_1):
    Procedure.objects.update(current=False)
    first = Procedure.objects.get()
    Procedure.objects.create(name="Ours", current=True, made_current_at=first.made_current_at)
    assert ("Ours", True) in [(one.name, one.current) for one in Procedure.objects.all()]
    assert go_on() == [(1, False), (1, True)]
