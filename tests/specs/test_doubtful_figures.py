"""A figure in the wrong unit is asked about when it is entered. Figures: common practice, no source."""

import re

import pytest
from django.core.exceptions import ValidationError

from shop.calc.tolerance import limits
from shop.calc.units import parse
from shop.specs.services import NewValue, change_draft, enter_sheet, withdraw_sheet
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return make.make_user("manager")


@pytest.mark.parametrize(
    ("measure", "quantity", "figure", "told"),
    [
        ("shaft_nut_torque", "torque", "26 lbf·in", "Did you mean 26 lbf·ft or 26 N·m?"),
        ("charge", "pressure", "7 psi", "Did you mean 7 bar?"),
        ("ifp_depth", "length", "0.3 in", "0.3 in is about 11 times less than the 3.4 in"),
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
    words = "more than any damper of a side-by-side takes, at most 147.5 lbf·ft. Did you mean 264 lbf·in?"
    with pytest.raises(ValidationError, match=re.escape(words)):
        entered(other, by, "shaft_nut_torque", "torque", "264 lbf·ft", sure=True)


@pytest.mark.parametrize(
    ("measure", "quantity", "figure", "told"),
    [
        ("shaft_nut_torque", "torque", "22 lbf·in", "Did you mean 22 lbf·ft or 22 N·m?"),
        ("charge", "pressure", "14 psi", "Did you mean 14 bar?"),
        ("oil_volume", "volume", "10 mL", "Did you mean 10 fl oz?"),
    ],
)
def test_the_first_figure_of_a_damper_model_is_held_against_what_is_usual(by, measure, quantity, figure, told):
    model = make.make_damper_model()
    with pytest.raises(ValidationError) as refusal:
        enter(model, by, measure, quantity, figure)
    assert "is unusual; mostly it is" in str(refusal.value.messages)
    assert told in str(refusal.value.messages)
    assert enter(model, by, measure, quantity, figure, sure=True).values.count() == 1


def test_limits_that_are_not_those_of_the_printed_tolerance_are_refused_although_somebody_is_sure(by):
    charge, low, high = (parse(text, "pressure") for text in ("120 psi", "10 psi", "400 psi"))
    values = [NewValue("charge", charge, low, high, "± 5 %")]
    with pytest.raises(ValidationError, match="± 5 % of 120 psi is 114 to 126 psi, but the lowest is typed as 10 psi"):
        enter_sheet(
            code="H2-B", damper_model=make.make_damper_model(), values=values, sure=True, by=by, at=NOON, **SOURCE
        )


@pytest.mark.parametrize(("tolerance", "asked"), [("± 25 %", False), ("± 26 %", True), ("+0/-26 %", True)])
def test_a_tolerance_of_more_than_a_quarter_of_the_value_is_asked_about(by, tolerance, asked):
    charge = parse("120 psi", "pressure")
    values = [NewValue("charge", charge, *limits(charge, tolerance, "pressure"), tolerance)]
    given = {"code": "H2-B", "damper_model": make.make_damper_model(), "values": values, "by": by, "at": NOON} | SOURCE
    if asked:
        with pytest.raises(ValidationError, match="is 26 % of the value, 120 psi"):
            enter_sheet(**given)
    assert enter_sheet(**given, sure=asked).status == "draft"


def test_a_draft_is_not_held_against_itself(by):
    model = make.make_damper_model()
    draft = enter(model, by, "charge", "pressure", "30 psi", sure=True)
    mended = parse("100 psi", "pressure")
    values = [NewValue("charge", mended, mended, mended)]
    change_draft(sheet=draft, edition=1, values=values, why="page misread", by=by, at=NOON, **SOURCE)
    assert draft.values.get().figures == "100"


def test_a_withdrawn_sheet_has_a_next_version(by):
    first = make.make_sheet(make.make_damper_model(), code="H2-A")
    withdraw_sheet(sheet=first, why="page misread", by=by, at=NOON)
    second = entered(first, by, "charge", "pressure", "100 psi", replaces=first, why="the page was misread")
    assert (second.code, second.version) == ("H2-A", 2)


SOURCE = {"position": "any", "source_document": "manual", "source_revision": "rev D", "source_page": "p. 41"}


def entered(other, by, measure, quantity, figure, **given):
    return enter(other.damper_model, by, measure, quantity, figure, **given)


def enter(model, by, measure, quantity, figure, **given):
    one = parse(figure, quantity)
    values = [NewValue(measure, one, one, one)]
    return enter_sheet(code="H2-B", damper_model=model, values=values, by=by, at=NOON, **SOURCE | given)
