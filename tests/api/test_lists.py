"""A list takes the same number of queries for one row as for many."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from api.endpoint import Listing
from api.urls import v1
from shop.parts.services import note_price, start_take
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import booking, make_family, make_one_on_bench
from tests.factories import make_user


@pytest.fixture
def counted(as_manager):
    def count(path):
        with CaptureQueriesContext(connection) as queries:
            answer = as_manager.get(path)
        assert answer.status_code == 200
        return len(queries), answer.json()

    return count


def parts_with_containers(n):
    part = make.make_part(measure="volume")
    make.make_container(part, 1_000_000, full=1)
    make.make_container(part, 100_000, full=1)


def loose_and_fitted(n):
    make.make_damper(make.make_vehicle())
    make.make_damper()


class Bench:
    """Makes one more job on the bench each time it is called."""

    def __init__(self):
        self.people = None

    def __call__(self, n):
        if self.people is None:
            self.people = make_family(), make_user("desk"), make_user("technician"), make_user("technician")
        self.job = make_one_on_bench(*self.people)


LISTS = {
    "customers/": lambda n: make.make_customer(),
    "vehicle-models/": lambda n: make.make_vehicle_model(),
    "vehicles/": lambda n: make.make_vehicle(),
    "damper-models/": lambda n: make.make_damper_model(),
    "dampers/": loose_and_fitted,
    "parts/": parts_with_containers,
    "exchange/files/": lambda n: make.make_import_run(),
    "sheets/": lambda n: make.make_sheet(make.make_damper_model()),
    "absences/": lambda n: make.make_absence(make_user("technician")),
    "closed-days/": lambda n: make.make_closed_day(name=f"Holiday {n}", month=1 + n),
    "suppliers/": lambda n: make.make_supplier(),
    "purchase-orders/": lambda n: make.make_purchase((make.make_item(), 2)),
    "stock-takes/": lambda n: start_take(parts=[make.make_part(on_hand=1)], by=make_user("desk"), at=make.NOON),
    "work-orders/": Bench(),
    "jobs/": Bench(),
}
# Counted in a test of its own: some come with the tables, some have more rows than one for what is made.
COME_WITH_THE_TABLES = {"procedures/", "reorder/"}
BELOW_A_ROW = {
    "vehicles/<int:pk>/meter-readings/", "jobs/<int:pk>/readings/", "vehicle-models/<int:pk>/fitments/",
    "parts/<int:pk>/movements/", "stock-takes/<int:pk>/rows/", "suppliers/<int:pk>/sells/",
    "supplier-items/<int:pk>/prices/", "work-orders/<int:pk>/agreements/", "work-orders/<int:pk>/questions/",
    "work-orders/<int:pk>/photos/",
}  # fmt: skip


def test_every_list_is_counted_here():
    lists = {str(one.pattern) for one in v1 if issubclass(one.callback.cls, Listing)}
    assert lists == set(LISTS) | COME_WITH_THE_TABLES | BELOW_A_ROW


@pytest.mark.parametrize("path", LISTS)
def test_a_list_takes_as_many_queries_for_one_row_as_for_five(counted, path):
    maker = Bench() if isinstance(LISTS[path], Bench) else LISTS[path]
    maker(0)
    few, page = counted(path)
    for n in range(1, 5):
        maker(n)
    many, longer = counted(path)
    assert longer["count"] == 5 * page["count"] > 0
    assert many == few


def below_a_row():
    """The address of each list below a row, and what adds a row to it."""
    desk, part, item = make_user("desk"), make.make_part(on_hand=1), make.make_item()
    job = make.make_open_job()
    take = start_take(parts=[make.make_part(on_hand=1)], by=desk, at=make.NOON)
    fewer = start_take(parts=[make.make_part(on_hand=1) for _ in range(4)], by=desk, at=make.NOON)
    order = f"work-orders/{job.order_id}"
    yield f"parts/{part.pk}/movements/", lambda: make.make_movement(part, 1)
    yield f"suppliers/{item.supplier_id}/sells/", lambda: make.make_item(supplier=item.supplier)
    yield (
        f"supplier-items/{item.pk}/prices/",
        lambda: note_price(
            item=item, price=Decimal("9.00"), from_day=make.NOON.date(), by=make_user("manager"), at=make.NOON
        ),
    )
    yield f"{order}/agreements/", lambda: make.make_agreement(job.order, by=make_user("desk"))
    yield f"{order}/questions/", lambda: make.make_question(job.order, job, by=make_user("desk"))
    yield f"{order}/photos/", lambda: make.make_photo(job, by=make_user("desk"))
    yield f"stock-takes/{take.pk}/rows/", fewer.pk


def test_lists_below_a_row_take_as_many_queries_for_few_as_for_more(counted):
    for path, add in below_a_row():
        if isinstance(add, int):  # a stock take has its rows from the start
            few, page = counted(path)
            many, longer = counted(f"stock-takes/{add}/rows/")
        else:
            add()
            few, page = counted(path)
            add()
            add()
            many, longer = counted(path)
        assert longer["count"] > page["count"] > 0, path
        assert many == few, path


def test_reorder_points_take_as_many_queries_for_one_part_as_for_five(counted):
    make.make_part(on_hand=1)
    few, page = counted("reorder/")
    for _ in range(4):
        make.make_part(on_hand=1)
    many, longer = counted("reorder/")
    assert (longer["count"], many) == (5 * page["count"], few)


def test_meter_readings_take_as_many_queries_for_one_as_for_five(counted, technician):
    vehicle = make.make_vehicle()
    path = f"vehicles/{vehicle.pk}/meter-readings/"
    make.make_meter_reading(vehicle, miles=100, by=technician)
    few, _ = counted(path)
    for miles in range(200, 600, 100):
        make.make_meter_reading(vehicle, miles=miles, by=make_user("desk"))
    many, page = counted(path)
    assert (page["count"], many) == (5, few)


def test_readings_take_as_many_queries_for_one_as_for_two(counted, at_bench):
    bench = Bench()
    bench(0)
    path = f"jobs/{bench.job}/readings/"
    few, _ = counted(path)
    tool = bench.people[0]["tools"]["shaft_nut_torque"]
    at_bench.made(path, {"measure": "shaft_nut_torque", "entered": "22 lbf·ft", "tool": tool})
    many, page = counted(path)
    assert (page["count"], many) == (2, few)


def test_an_order_takes_as_many_queries_for_one_damper_as_for_four(counted, at_desk):
    family, counts = make_family(), []
    for dampers in (1, 4):
        vehicle = make.make_vehicle(model=family["vehicle_model"])
        fitted = at_desk.made(f"vehicles/{vehicle.pk}/fit-dampers/")[:dampers]
        order = at_desk.made("work-orders/", booking(vehicle, fitted))["id"]
        at_desk.made(f"work-orders/{order}/check-in/")
        counts.append([counted(path)[0] for path in (f"work-orders/{order}/", f"work-orders/{order}/pick-list/")])
    assert counts[0] == counts[1]


def test_the_steps_of_a_job_take_a_constant_number_of_queries(counted, at_bench):
    bench = Bench()
    bench(0)
    few, _ = counted(f"jobs/{bench.job}/")
    for number in range(4, 8):
        at_bench.made(f"jobs/{bench.job}/steps/{number}/done/")
    assert counted(f"jobs/{bench.job}/")[0] == few


@pytest.mark.parametrize("number", ["9" * 19, "9" * 40, "9" * 5000, "-1", "0", "x"])
@pytest.mark.parametrize(("path", "name"), [
    ("vehicles/", "customer"), ("dampers/", "customer"), ("dampers/", "vehicle"), ("work-orders/", "customer"),
    ("work-orders/", "vehicle"),
])  # fmt: skip
def test_a_number_that_no_row_can_have_is_refused_under_its_name(at_bench, path, name, number):
    refused(at_bench.get(path, **{name: number}), 400, field=name)
    assert at_bench.get(path, **{name: "9" * 18}).json()["count"] == 0
