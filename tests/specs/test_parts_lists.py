"""Parts lists and service intervals: what is entered here is what orders take and what forecasts rest on."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.specs.intervals import interval_for
from shop.specs.services import add_kit_line, remove_kit_line, set_interval
from shop.staff.models import AuditEntry
from shop.workorders.services import check_in
from tests import factories as make
from tests.factories import MILE, NOON

pytestmark = pytest.mark.django_db


def add(by, damper_model, **given):
    defaults = {"part_number": "SK-H2", "name": "seal kit H2", "measure": "count", "amount": 1}
    return add_kit_line(damper_model=damper_model, **defaults | given, by=by, at=NOON)


def test_an_order_takes_up_the_parts_list_when_it_is_checked_in(manager, desk):
    """290 mL, of the sheet, and the shop's 10 % for bleeding and spilling."""
    damper = make.make_damper(model=make.make_damper_model())
    make.make_sheet(damper.model, oil=290)
    order = make.make_order(by=desk, dampers=[damper])
    assert not order.pick_list.lines.exists()
    add(manager, damper.model)
    add(manager, damper.model, part_number="TARN-5", name="damper oil", measure="volume", amount=None)
    gone = add(manager, damper.model, part_number="SG-1", name="seal grease", measure="mass", amount=4000)
    add(manager, damper.model, part_number="SK-OLD", year_to=damper.model_year - 1)
    remove_kit_line(line=gone, by=manager, at=NOON)
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    assert set(order.pick_list.lines.values_list("part_number", "amount")) == {("SK-H2", 1), ("TARN-5", 319_000)}


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"amount": 0}, "No damper takes 0"),
        ({"amount": 10**6 + 1}, "1000001 for one damper is a slip; at most 1000000"),
        ({"amount": None}, "only oil may take it from the spec sheet"),
        ({"year_from": 2015, "year_to": 2014}, "2014 lies before the first model year, 2015"),
        ({"part_number": "sg-1", "year_from": 2014}, "SG-1 seal grease, 4 g, model years to 2014 is in this"),
        ({"part_number": "  "}, "cannot be blank"),
        ({"measure": "smell"}, "not a valid choice"),
    ],
)
def test_a_line_that_cannot_be_is_refused_and_leaves_no_trace(manager, given, told):
    damper = make.make_damper_model()
    make.make_kit_line(damper, "SG-1", 4000, "mass", name="seal grease", year_to=2014)
    with pytest.raises(ValidationError, match=told):
        add(manager, damper, **given)
    assert damper.kit_lines.count() == 1
    assert not AuditEntry.objects.exists()


def test_the_same_part_may_stand_twice_for_model_years_that_do_not_meet(manager):
    damper = make.make_damper_model()
    add(manager, damper, amount=1, year_to=2014)
    add(manager, damper, amount=2, year_from=2015)
    assert damper.kit_lines.count() == 2


def test_a_line_is_removed_once(manager):
    damper = make.make_damper_model()
    line = add(manager, damper)
    for _ in range(2):
        remove_kit_line(line=line, by=manager, at=NOON)
    assert not damper.kit_lines.exists()
    told = AuditEntry.objects.filter(kind="dampermodel", key=str(damper.pk)).values_list("what", flat=True)
    assert list(told) == [
        "off the parts list: SK-H2 seal kit H2, 1, all model years",
        "parts list: SK-H2 seal kit H2, 1, all model years",
    ]


def test_a_new_interval_holds_and_makes_the_forecasts_that_rest_on_it_stale(manager):
    damper = make.make_damper(make.make_vehicle(forecast_stale=False))
    other = make.make_damper(make.make_vehicle(forecast_stale=False))
    make.make_damper(model=damper.model)  # a loose one has no forecast
    set_interval(damper_model=damper.model, months=12, source="bench notes", by=manager, at=NOON)
    set_interval(
        damper_model=damper.model, months=6, distance=parse("800 mi", "distance"), hours=parse("40 h", "time"),
        source="the shop's own", by=manager, at=NOON,
    )  # fmt: skip
    found = interval_for([damper.model]).interval
    assert (found.months, found.hours_s, found.source) == (6, 144_000, "the shop's own")
    assert found.distance_m == pytest.approx(800 * MILE)
    for one, stale in ((damper, True), (other, False)):
        one.vehicle.refresh_from_db()
        assert one.vehicle.forecast_stale is stale
    latest = AuditEntry.objects.filter(kind="dampermodel").first()
    assert latest.what == "service interval: 6 months or 800 mi or 40 h (the shop's own)"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({}, "at least one of months, distance and hours"),
        ({"months": 0}, "cannot be due after zero"),
        ({"months": 6, "distance": parse("0 mi", "distance")}, "cannot be due after zero"),
        ({"months": 6, "source": " "}, "where the interval comes from"),
    ],
)
def test_an_interval_that_says_nothing_is_refused_and_the_earlier_one_holds(manager, given, told):
    damper = make.make_damper_model()
    set_interval(damper_model=damper, months=12, source="bench notes", by=manager, at=NOON)
    with pytest.raises(ValidationError, match=told):
        set_interval(damper_model=damper, **{"source": "the shop's own"} | given, by=manager, at=NOON)
    found = interval_for([damper]).interval
    assert (found.months, found.source) == (12, "bench notes")
