"""A wrong model year is mended before it reaches the bench: damper, vehicle, card.

Figures: common practice, no source.
"""

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.documents.selectors import card
from shop.workorders.services import change_damper, change_vehicle, check_in, close_job, hand_back, take_off_damper
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def desk():
    return make.make_user("desk")


@pytest.fixture
def damper():
    """Of 2014, with a sheet to 2014 and another from 2015 on."""
    model = make.make_damper_model()
    make.make_sheet(model, torque=18, charge=200, oil=305, year_to=2014)
    make.make_sheet(model, torque=22, charge=100, oil=400, year_from=2015)
    make.make_kit_line(model, "TARN-5", amount=None, measure="volume", name="Tarn No. 5")
    make.make_kit_line(model, "TL-M", amount=500, measure="volume", name="thread-locker")
    return make.make_damper(make.make_vehicle(model_year=2014), model=model)


def test_a_vehicle_of_another_year_takes_its_dampers_along_to_the_card(damper, desk):
    order = make.make_order(by=desk, dampers=[damper])
    held = order.pick_list.lines.get(part_number="TARN-5").amount
    moved(damper, desk)
    assert order.pick_list.lines.get(part_number="TARN-5").amount > held
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    page = card(order).dampers[0]
    assert (page.model_year, page.other_year) == ("2015", "")
    assert [one.figures for one in page.figures[:2]] == ["22", "100"]
    assert page.figures[3].oil == "Tarn No. 5 (TARN-5)"


def test_a_damper_left_behind_is_told_on_the_card(damper, desk):
    moved(damper, desk, dampers_too=False)
    order = make.make_order(by=desk, dampers=[damper])
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    page = card(order).dampers[0]
    assert page.other_year == "of 2014, on a vehicle of 2015"
    assert [one.figures for one in page.figures[:2]] == ["18", "200"]


def test_at_the_bench_neither_damper_nor_vehicle_changes_its_year(damper, desk):
    make.make_open_job(by=desk, damper=damper)
    with pytest.raises(Conflict, match="is on the bench in"):
        changed(damper, desk, model_year=2015)
    with pytest.raises(ValidationError, match="is on the bench in"):
        moved(damper, desk)
    damper.refresh_from_db()
    damper.vehicle.refresh_from_db()
    assert (damper.model_year, damper.vehicle.model_year) == (2014, 2014)


def test_a_booked_damper_is_changed_and_its_parts_are_reckoned_anew(damper, desk):
    order = make.make_order(by=desk, dampers=[damper])
    held = order.pick_list.lines.get(part_number="TARN-5").amount
    assert changed(damper, desk, model_year=2015).model_year == 2015
    assert order.pick_list.lines.get(part_number="TARN-5").amount > held
    with pytest.raises(Conflict, match="Call that order off first"):
        take_off_damper(damper=damper, by=desk, at=NOON)


def test_a_damper_is_taken_off_and_remembers_its_corner(damper, desk):
    loose = take_off_damper(damper=damper, by=desk, at=NOON)
    assert (loose.vehicle, loose.position) == (None, "rear_right")


def test_what_was_closed_unfinished_is_handed_back_only_when_the_customer_knows(damper, desk):
    from shop.workorders.services import close_order

    manager, job = make.make_user("manager"), make.make_open_job(by=desk, damper=damper)
    close_job(job=job, override_reason="shaft bent", by=manager, at=NOON)
    close_order(order=job.order, used=[(line, 0) for line in job.order.pick_list.lines.all()], by=manager, at=NOON)
    with pytest.raises(ValidationError, match="0 done, 1 closed unfinished: rear right: shaft bent"):
        hand_back(order=job.order, by=desk, at=NOON)
    assert hand_back(order=job.order, told_unfinished=True, by=desk, at=NOON).status == "handed_back"


def changed(damper, by, **given):
    known = {"model": damper.model, "model_year": damper.model_year, "position": damper.position}
    return change_damper(damper=damper, by=by, at=NOON, **known | given)


def moved(damper, by, **given):
    vehicle = damper.vehicle
    return change_vehicle(
        vehicle=vehicle, version=vehicle.version, model=vehicle.model, model_year=2015, by=by, at=NOON, **given
    )
