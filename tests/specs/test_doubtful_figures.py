"""A figure in the wrong unit is asked about when it is entered. Figures: common practice, no source."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.specs.services import NewValue, enter_sheet, withdraw_sheet
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return make.make_user("manager")


@pytest.mark.parametrize(
    ("measure", "quantity", "figure", "told"),
    [
        ("shaft_nut_torque", "torque", "2 lbf·ft", "lbf·in?"),
        ("charge", "pressure", "7 psi", "bar?"),
    ],
)
def test_a_figure_far_from_the_other_sheets_is_asked_about(by, measure, quantity, figure, told):
    other = make.make_sheet(make.make_damper_model(), year_to=2014)
    with pytest.raises(ValidationError) as refusal:
        entered(other, by, measure, quantity, figure)
    assert told in str(refusal.value.messages)
    assert str(other) in str(refusal.value.messages)
    assert entered(other, by, measure, quantity, figure, sure=True).values.count() == 1


def test_half_the_charge_of_the_year_before_is_not_asked_about(by):
    other = make.make_sheet(make.make_damper_model(), charge=200, year_to=2014)
    assert entered(other, by, "charge", "pressure", "100 psi").values.count() == 1


def test_more_than_any_such_damper_takes_is_refused_although_somebody_is_sure(by):
    other = make.make_sheet(make.make_damper_model(), year_to=2014)
    with pytest.raises(ValidationError, match="more than any damper of a side-by-side takes"):
        entered(other, by, "shaft_nut_torque", "torque", "264 lbf·ft", sure=True)


def test_a_withdrawn_sheet_has_a_next_version(by):
    first = make.make_sheet(make.make_damper_model(), code="H2-A")
    withdraw_sheet(sheet=first, why="page misread", by=by, at=NOON)
    second = entered(first, by, "charge", "pressure", "100 psi", replaces=first)
    assert (second.code, second.version) == ("H2-A", 2)


def entered(other, by, measure, quantity, figure, **given):
    one = parse(figure, quantity)
    return enter_sheet(
        code="H2-B", damper_model=other.damper_model, position="any", source_document="manual",
        source_revision="rev D", source_page="p. 41", values=[NewValue(measure, one, one, one)], by=by, at=NOON,
        **given,
    )  # fmt: skip
