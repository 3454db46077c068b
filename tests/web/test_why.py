"""Wherever a figure of a sheet is shown: which sheet gives it, why this one, from which source, verified by whom."""

import pytest
from django.urls import reverse

from shop.documents.selectors import card, pick_paper
from shop.specs.models import SheetStatus
from shop.specs.services import withdraw_sheet
from shop.workorders.kit import parts_changed
from shop.workorders.services import check_in
from tests import factories as make
from tests.documents.orders import make_booked, stock_kit
from tests.factories import NOON
from tests.web.people import words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
OIL_STEP = 9
WHY = (
    "H9-A version 1, chosen as: model years from 2015, rear, any vehicle. "
    "Source: H9 bench manual, rev B, p. 12. Entered by Mika Sorensdal, verified by Rosa Odumbe, 25 Nov 2026."
)


@pytest.fixture
def sheet(manager, second):
    model = make.make_damper_model(name="H9")
    stock_kit(model)
    return make.make_sheet(
        model, code="H9-A", year_from=2015, position="rear", source_document="H9 bench manual", source_revision="rev B",
        source_page="p. 12", entered_by=manager, verified_by=second,
    )  # fmt: skip


@pytest.fixture
def booked(sheet):
    return make_booked(model=sheet.damper_model, corners=["rear_left", "rear_right"])


@pytest.fixture
def order(booked, desk):
    return check_in(order=booked, meters=[], as_found=[], by=desk, at=NOON)


def test_at_the_check_in_of_each_damper(at_desk, booked):
    page = at_desk.get(reverse("desk:check_in", args=[booked.pk]))
    assert words(page).count(f"Sheet {WHY}") == 2
    damper = booked.jobs.first().damper
    asked = f"?damper_model={damper.model_id}&amp;year=2015&amp;position=rear_left&amp;vehicle_model="
    assert f"{reverse('manage:why')}{asked}{damper.vehicle.model_id}" in page.content.decode()


def test_on_the_page_of_the_order_once_for_all_dampers_of_the_sheet(at_desk, order, manager, sheet):
    tags = ", ".join(job.tag for job in order.jobs.all())
    address = order.get_absolute_url()
    assert words(at_desk.get(address)).count(f"Sheet {WHY} What holds today for {tags}") == 1
    withdraw_sheet(sheet=sheet, why="misread", by=manager, at=NOON)  # what was kept is told, whatever became of it
    assert f"Sheet {WHY}" in words(at_desk.get(address))


def test_on_the_page_of_an_order_without_a_sheet(at_desk, desk):
    order = make_booked(model=make.make_damper_model(name="H9"), corners=["rear_left"])
    assert "Figures why these" not in words(at_desk.get(order.get_absolute_url()))
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    page = words(at_desk.get(order.get_absolute_url()))
    assert "No sheet. No sheet covers Hallinde H9, model year 2015, rear left." in page


@pytest.mark.parametrize("number", [8, 9, 11, 12])
def test_at_each_step_that_asks_for_a_figure(at_bench, order, number):
    page = words(at_bench.get(reverse("tablet:step", args=[order.jobs.first().pk, number])))
    assert f"Sheet {WHY} The maker's current service manual for the exact unit prevails." in page


def test_beside_each_figure_on_the_page_of_the_damper(at_bench, order):
    assert words(at_bench.get(order.jobs.first().get_absolute_url())).count(f"Sheet {WHY}") == 4


def test_beside_the_oil_of_the_pick_list_before_the_check_in_and_after_it(at_desk, booked, desk, manager, sheet):
    address = reverse("desk:pick_list", args=[booked.pk])
    assert words(at_desk.get(address)).count(f"Volume by sheet {WHY}") == 1  # one row, one sheet, two bags
    check_in(order=booked, meters=[], as_found=[], by=desk, at=NOON)
    withdraw_sheet(sheet=sheet, why="misread", by=manager, at=NOON)
    assert words(at_desk.get(address)).count(f"Volume by sheet {WHY}") == 1
    (oil,) = [row for row in pick_paper(booked, NOON).rows if row.name == "Tarn No. 5"]
    assert [one.title for one in oil.why] == ["H9-A version 1"]
    assert all(not row.why for row in pick_paper(booked, NOON).rows if row.name != "Tarn No. 5")


def test_the_oil_is_known_by_the_parts_list_whatever_the_allowance_is_by_now(at_desk, at_bench, order, settings):
    settings.OIL_ALLOWANCE_PERCENT = 25
    assert words(at_desk.get(reverse("desk:pick_list", args=[order.pk]))).count(f"Volume by sheet {WHY}") == 1
    job = order.jobs.first()
    step = reverse("tablet:step", args=[job.pk, OIL_STEP])
    assert "The oil for this damper: Tarn No. 5" in words(at_bench.get(step))
    assert "Tarn No. 5" in next(one.oil for one in card(order).dampers[0].figures if one.oil)


def test_a_list_filled_before_that_was_noted_knows_the_oil_by_its_amount(at_desk, at_bench, order, settings):
    order.pick_list.lines.update(by_sheet=None)
    address = reverse("desk:pick_list", args=[order.pk])
    step = reverse("tablet:step", args=[order.jobs.first().pk, OIL_STEP])
    assert words(at_desk.get(address)).count(f"Volume by sheet {WHY}") == 1
    assert "The oil for this damper: Tarn No. 5" in words(at_bench.get(step))
    assert not parts_changed(order)
    settings.OIL_ALLOWANCE_PERCENT = 25
    assert "Volume by sheet" not in words(at_desk.get(address))


def test_as_much_of_another_fluid_is_not_the_oil(at_bench, desk, settings):
    model = make.make_damper_model()
    make.make_sheet(model, oil=400)
    stock_kit(model)
    locker = make.make_part(on_hand=900_000, measure="volume")
    make.make_kit_line(model, locker.number, amount=440_000, measure="volume", name="as much as the oil")
    order = make_booked(model=model, corners=["rear_left"])
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    told = words(at_bench.get(reverse("tablet:step", args=[order.jobs.get().pk, OIL_STEP])))
    assert "The oil for this damper: Tarn No. 5" in told
    assert "as much as the oil" not in told


def test_a_figure_of_a_draft_says_that_nobody_verified_it(at_desk, at_bench, desk, manager):
    model = make.make_damper_model()
    stock_kit(model)
    make.make_sheet(model, code="H9-D", status=SheetStatus.DRAFT, entered_by=manager)
    order = make_booked(model=model, corners=["rear_left"])
    said = "Entered by Mika Sorensdal, DRAFT, verified by nobody."
    assert said in words(at_desk.get(reverse("desk:check_in", args=[order.pk])))
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    for address in (order.get_absolute_url(), reverse("desk:pick_list", args=[order.pk])):
        assert said in words(at_desk.get(address))
    assert words(at_bench.get(order.jobs.get().get_absolute_url())).count(said) == 4
