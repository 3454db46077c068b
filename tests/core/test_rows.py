"""Rows of the catalogue: model years that meet, and two managers who enter the same thing at once."""

import itertools
from datetime import date
from functools import partial

import pytest

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.core.rows import names, save_new, sharing_years
from shop.customers.models import VehicleModel
from shop.customers.services import create_vehicle_model
from shop.dampers.models import DamperModel, Position
from shop.dampers.services import create_damper_model, set_fitment
from shop.parts.models import Part
from shop.parts.services import add_container, create_part
from shop.specs.models import KitLine
from shop.specs.services import add_kit_line, set_interval
from shop.workorders.models import Tool
from shop.workorders.services import add_tool
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

ENDS = [None, 2013, 2014, 2015]
RANGES = [(low, high) for low, high in itertools.product(ENDS, ENDS) if low is None or high is None or low <= high]


def years(low, high):
    """The model years of a range, of those that matter here."""
    return {year for year in range(2012, 2017) if (low is None or low <= year) and (high is None or year <= high)}


def test_two_ranges_share_years_exactly_when_one_model_year_lies_in_both(db):
    damper = make.make_damper_model()
    rows = {make.make_kit_line(damper, "SK", year_from=low, year_to=high): (low, high) for low, high in RANGES}
    for low, high in RANGES:
        found = set(KitLine.objects.filter(sharing_years(low, high)))
        assert found == {row for row, there in rows.items() if years(low, high) & years(*there)}, (low, high)


def test_a_row_that_came_first_is_a_conflict_and_the_work_around_it_can_go_on(db):
    there = make.make_vehicle_model()
    again = VehicleModel(maker=there.maker, name=there.name, year_from=there.year_from)
    with pytest.raises(Conflict, match=f"entered {there} just now"):
        save_new(again)
    assert VehicleModel.objects.count() == 1


def vehicle_model(by):
    return create_vehicle_model(maker="Ostrander", name="Ridge 900", year_from=2011, by=by, at=NOON)


def damper_model(by):
    return create_damper_model(
        maker="Hallinde", name="H2", construction="reservoir", serviceable=True, by=by, at=NOON
    )  # fmt: skip


def part(by):
    return create_part(number="SK-H2", name="seal kit H2", measure="count", by=by, at=NOON)


def tool(by):
    low, high = parse("0 psi", "pressure"), parse("300 psi", "pressure")
    return add_tool(code="G-1", kind="gauge", low=low, high=high, calibrated_on=date(2026, 11, 2), by=by, at=NOON)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("enter", "table"), [(vehicle_model, VehicleModel), (damper_model, DamperModel), (part, Part), (tool, Tool)]
)
def test_of_two_who_enter_the_same_at_once_one_is_told(enter, table):
    managers = make.make_user(), make.make_user()
    outcomes = at_once(*[partial(enter, by) for by in managers])
    assert table.objects.count() == 1
    # Who comes much later finds it in the list; who comes at the same moment meets the constraint.
    refused = [one for one in outcomes if not isinstance(one, table)]
    assert len(refused) == 1
    assert "already" in str(refused[0]) or isinstance(refused[0], Conflict)


@pytest.mark.django_db(transaction=True)
def test_two_who_add_to_the_same_thing_at_once_never_make_two_answers():
    managers = make.make_user(), make.make_user()
    damper, vehicle, oil = make.make_damper_model(), make.make_vehicle_model(), make.make_part(measure="volume")
    months = iter((6, 8))

    def fitment(by):
        return set_fitment(
            vehicle_model=vehicle, position=Position.REAR_LEFT, damper_model=damper, by=by, at=NOON,
            year_from=2010 if by == managers[0] else 2011,
        )  # fmt: skip

    def line(by):
        return add_kit_line(
            damper_model=damper, part_number="SK-H2", name="seal kit", measure="count", amount=1, by=by, at=NOON
        )

    def container(by):
        return add_container(part=oil, name="bottle", size=1_000_000, price=20, by=by, at=NOON)

    def interval(by):
        return set_interval(damper_model=damper, months=next(months), source="the shop's own", by=by, at=NOON)

    for enter in (fitment, line, container, interval):
        at_once(*[partial(enter, by) for by in managers])
    there = (vehicle.fitments, damper.kit_lines, oil.containers, damper.intervals)
    assert [rows.count() for rows in there] == [1, 1, 1, 1]


@pytest.mark.parametrize(
    ("rows", "told"),
    [("", ""), ("a", "a"), ("ab", "a and b"), ("abc", "a, b and c"), ("abcd", "a, b, c and 1 more")],
)
def test_the_first_few_rows_are_named_and_the_others_counted(rows, told):
    assert names(rows) == told


def test_rows_are_named_as_the_caller_says():
    assert names([2014, 2015], lambda year: f"of {year}") == "of 2014 and of 2015"
