"""How many clicks the adjusters of a damper model have, and counts that they cannot have."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.dampers.clicks import check_clicks
from shop.dampers.services import set_adjusters
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def clicks(count):
    return parse(f"{count} clicks", "count")


def counted(model, by, version=None, **given):
    given = {kind: clicks(count) for kind, count in given.items()}
    return set_adjusters(damper_model=model, version=version, **given, by=by, at=NOON)


def test_adjusters_are_entered_all_at_once_and_what_is_left_out_is_gone(manager):
    model = make.make_damper_model()
    counted(model, manager, compression=20, rebound=22)
    counted(model, manager, low_speed=18, high_speed=1)
    there = list(model.adjusters.values_list("kind", "clicks"))
    assert there == [("low_speed", 18), ("high_speed", 1)]
    entry = AuditEntry.objects.filter(kind="dampermodel").order_by("pk").last()
    assert entry.what == "adjusters: low-speed compression, 18 clicks; high-speed compression, 1 click"


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"compression": 20, "low_speed": 20}, "compression", "one adjuster or two, low-speed and high-speed"),
        ({"compression": 20, "high_speed": 20}, "compression", "Empty this, or those two"),
        ({"rebound": 0}, "rebound", "Rebound: 0 clicks cannot be; a whole number from 1 to 99"),
        ({"high_speed": 100}, "high_speed", "High-speed compression: 100 clicks cannot be"),
        ({"rebound": 10.5}, "rebound", "10.5 clicks cannot be"),
    ],
)
def test_adjusters_that_cannot_be_are_refused_and_the_others_stay(manager, given, field, told):
    model = counted(make.make_damper_model(), manager, rebound=22)
    with pytest.raises(ValidationError, match=told) as refusal:
        counted(model, manager, **given)
    assert list(refusal.value.message_dict) == [field]
    assert model.adjusters.get().clicks == 22


def test_the_second_of_two_managers_is_told(manager):
    model = counted(make.make_damper_model(), manager, version=1, rebound=22)
    with pytest.raises(Conflict):
        counted(model, manager, version=1, rebound=24)
    assert model.adjusters.get().clicks == 22


@pytest.mark.parametrize(
    ("adjusters", "measure", "most"),
    [
        ({"compression": 20}, "compression_clicks", 20),
        ({"low_speed": 18, "high_speed": 12}, "compression_clicks", 18),
        ({"high_speed": 12}, "compression_clicks", 12),
        ({"rebound": 22}, "rebound_clicks", 22),
        ({"rebound": 22}, "compression_clicks", None),
        ({"compression": 20}, "rebound_clicks", None),
        ({"rebound": 1}, "preload_length", None),
        ({}, "rebound_clicks", None),
    ],
)
def test_a_count_is_held_against_the_adjuster_that_it_is_counted_on(manager, adjusters, measure, most):
    model = counted(make.make_damper_model(), manager, **adjusters)
    check_clicks(model, measure, clicks(0))
    check_clicks(model, measure, clicks(most or 99))
    if most is not None:
        with pytest.raises(ValidationError, match=f"has {most} clicks; {most + 1} were counted. Turn it fully closed"):
            check_clicks(model, measure, clicks(most + 1))
