"""Which broken constraint is a lost race, told by the database itself."""

import pytest
from django.db import IntegrityError, transaction

from shop.core.errors import is_duplicate
from shop.specs.models import SheetPosition
from shop.web.forms import KeyedForm, submit
from tests import factories as make
from tests.factories import NOON


def broken(write):
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        write()
    return refused.value


@pytest.mark.flow
@pytest.mark.django_db
def test_a_value_that_somebody_else_has_is_a_duplicate_and_another_fault_is_none():
    part = make.make_part()
    assert is_duplicate(broken(lambda: make.make_part(number=part.number)))
    assert not is_duplicate(broken(lambda: make.make_part(measure="ells")))
    assert not is_duplicate(broken(lambda: make.make_movement(part, 0)))


@pytest.mark.flow
@pytest.mark.django_db
def test_two_sheets_that_would_give_two_answers_are_duplicates():
    model = make.make_damper_model()
    make.make_sheet(model, position=SheetPosition.ANY)
    assert is_duplicate(broken(lambda: make.make_sheet(model, position=SheetPosition.ANY)))


def sent(request_key=""):
    return KeyedForm({"request_key": request_key})


def test_a_form_calls_only_a_lost_race_one(desk):
    part = make.make_part()

    def twice(by, at):
        return make.make_part(number=part.number)

    def impossible(by, at):
        return make.make_part(measure="ells")

    form = sent()
    with transaction.atomic():
        assert submit(form, _atomic(twice), by=desk, at=NOON) is None
    assert form.status == 409
    assert "Somebody else has entered the same at this moment." in str(form.errors)
    with pytest.raises(IntegrityError), transaction.atomic():
        submit(sent(), _atomic(impossible), by=desk, at=NOON)


def _atomic(service):
    return transaction.atomic(service)
