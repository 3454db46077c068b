"""The same request twice is one request, also when both come at once."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.core import tasks
from shop.core.errors import Conflict
from shop.core.models import Heartbeat, RequestKey
from shop.core.services import beat, fingerprint, once
from shop.customers.models import Customer
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once


def enter(key, name="Ines", make_row=None):
    make_row = make_row or (lambda: make.make_customer(name=name))
    return once(scope="test", key=key, content={"name": name}, at=NOON, make=make_row)


def test_the_same_key_answers_what_was_made_and_makes_nothing_more(db):
    first = enter("k1")
    assert enter("k1") == first
    assert Customer.objects.count() == 1


def test_a_key_used_again_for_something_else_is_refused(db):
    enter("k1")
    with pytest.raises(Conflict, match="already used for another entry"):
        enter("k1", name="Theo")


def test_rows_that_read_alike_are_told_apart(db):
    """Front left and front right have the same name, so a list of them counts by its keys."""
    dampers = [make.make_damper(model_year=2015) for _ in range(2)]
    one, other = (type(damper).objects.filter(pk=damper.pk) for damper in dampers)
    assert fingerprint({"dampers": one}) == fingerprint({"dampers": one.all()}) != fingerprint({"dampers": other})
    assert fingerprint(dampers[0]) != fingerprint(dampers[0].model)


def test_a_key_whose_row_was_taken_away_since_is_a_conflict(db):
    enter("k1").delete()
    with pytest.raises(Conflict, match="taken away since"):
        enter("k1")


def test_another_key_or_none_is_another_request(db):
    enter("k1"), enter("k2"), enter(""), enter("")
    assert Customer.objects.count() == 4


def test_a_refused_request_leaves_its_key_free(db):
    def refuse():
        raise ValidationError("no")

    with pytest.raises(ValidationError):
        enter("k1", make_row=refuse)
    assert not RequestKey.objects.exists()
    assert enter("k1").name == "Ines"


@pytest.mark.django_db(transaction=True)
def test_two_at_once_with_one_key_make_one_row():
    first, second = at_once(lambda: enter("k1"), lambda: enter("k1"))
    assert first == second
    assert Customer.objects.count() == 1


def test_a_heartbeat_is_one_row_that_moves(db):
    beat(name="scheduler", at=NOON)
    beat(name="scheduler", at=NOON.replace(hour=20))
    assert Heartbeat.objects.get().at.hour == 20


def test_a_key_is_kept_for_thirty_days_and_what_it_made_for_good(db):
    enter("old"), enter("young", name="Theo")
    RequestKey.objects.filter(key="old").update(made_at=timezone.now() - timedelta(days=30, minutes=1))
    RequestKey.objects.filter(key="young").update(made_at=timezone.now() - timedelta(days=29))
    tasks.forget_old_keys()
    assert [row.key for row in RequestKey.objects.all()] == ["young"]
    assert Customer.objects.count() == 2
    assert enter("young", name="Theo") == Customer.objects.get(name="Theo")
