"""The day sheet, the list of orders, the page of one order, and the search over everything."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from shop.staff.models import Role
from shop.workorders.models import OrderStatus, WorkOrder
from shop.workorders.services import call_off, check_in, close_job, close_order, hand_back
from tests import factories as make
from tests.factories import NOON
from tests.web.people import words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
DAY, ORDERS, FIND = reverse("desk:day"), reverse("desk:orders"), reverse("desk:search")


def make_order(name="Ines Calloway", status=OrderStatus.BOOKED, **given):
    """An order brought to a state through the domain."""
    vehicle = make.make_vehicle(customer=make.make_customer(name=name, phone="555-0121"), plate=f"LG {name[:3]}")
    order = make.make_order(dampers=[make.make_damper(vehicle)], **given)
    by = make.make_user(Role.MANAGER)
    if status in (OrderStatus.ON_BENCH, OrderStatus.READY, OrderStatus.HANDED_BACK):
        check_in(order=order, meters=[], as_found=[], by=by, at=NOON)
    if status in (OrderStatus.READY, OrderStatus.HANDED_BACK):
        close_job(job=order.jobs.get(), override_reason="test of the pages", by=by, at=NOON)
        close_order(order=order, used=[], by=by, at=NOON)
    if status == OrderStatus.HANDED_BACK:
        hand_back(order=order, told_unfinished=True, by=by, at=NOON)
    if status == OrderStatus.CALLED_OFF:
        call_off(order=order, why="sold the vehicle", by=by, at=NOON)
    order.refresh_from_db()
    return order


# --- the day sheet


def test_an_empty_day_says_what_to_do(at_desk, at_bench):
    page = words(at_desk.get(DAY))
    assert "Wednesday 25 November" in page
    assert "Book the first job" in page
    assert "the front desk books it" in words(at_bench.get(DAY))


def test_each_order_stands_under_what_the_desk_does_next(at_desk):
    names = {
        "Arriving": make_order("Ines Arriving"),
        "Coming days": make_order("Theo Coming", arrives_on=date(2026, 11, 26)),
        "On the benches": make_order("Sam Onbench", OrderStatus.ON_BENCH),
        "Ready": make_order("Petra Ready", OrderStatus.READY),
    }
    make_order("Ada Gone", OrderStatus.HANDED_BACK)
    make_order("Ada Off", OrderStatus.CALLED_OFF)
    response = at_desk.get(DAY)
    page = words(response)
    for heading, order in names.items():
        section = page.split(f"{heading} 1 job, 1 damper")[1].split(" 1 job, 1 damper")[0]
        assert order.customer.name in section
        assert order.number in section
    assert "Ada" not in page
    assert reverse("desk:check_in", args=[names["Arriving"].pk]) in response.content.decode()
    assert reverse("desk:hand_back", args=[names["Ready"].pk]) in response.content.decode()
    assert "expected tomorrow" in page
    assert "Identify, tag, wash, photograph: not done yet." in page
    assert "promised Fri 27 November 12:00" in page


def test_what_is_late_says_by_how_much(at_desk, desk, monkeypatch):
    make_order("Ines Calloway")
    make_order("Sam Ferreira", OrderStatus.ON_BENCH, promised_for=NOON + timedelta(hours=4))
    for later, told in [
        (timedelta(hours=4, minutes=20), "late by 20 min"),
        (timedelta(hours=6, minutes=30), "late by 2 h"),
        (timedelta(hours=13), "late by 1 day"),  # past midnight at the shop
        (timedelta(days=3), "late by 3 days"),
    ]:
        monkeypatch.setattr("django.utils.timezone.now", lambda later=later: NOON + later)
        at_desk.force_login(desk)
        assert told in words(at_desk.get(DAY))
    assert "late by 1 day" in words(at_desk.get(DAY)).split("Ines Calloway")[1].split("Sam Ferreira")[0]


def test_a_customer_who_did_not_come_is_still_expected(at_desk, desk, monkeypatch):
    make_order("Ines Arriving")
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON + timedelta(days=1))
    at_desk.force_login(desk)
    assert "expected yesterday" in words(at_desk.get(DAY))


def test_the_day_takes_as_many_queries_for_twenty_orders_as_for_five(at_desk, django_assert_num_queries):
    def fill(count):
        for index in range(count):
            make_order(f"Customer {index}", [OrderStatus.BOOKED, OrderStatus.ON_BENCH][index % 2])

    fill(5)
    at_desk.get(DAY)
    with django_assert_num_queries(25) as few:
        at_desk.get(DAY)
    fill(15)
    with django_assert_num_queries(len(few.captured_queries)):
        assert at_desk.get(DAY).status_code == 200


def test_a_technician_reads_the_day_and_is_offered_nothing_that_the_desk_does(at_bench):
    make_order("Ines Arriving")
    make_order("Petra Ready", OrderStatus.READY)
    page = words(at_bench.get(DAY))
    assert "Ines Arriving" in page
    for gone in ("Book a job", "Check in", "Hand back"):
        assert gone not in page


# --- the list


def make_many(count):
    """Orders straight into the table: the list does not ask how they came there."""
    from shop.picklists.models import PickList

    vehicle, by = make.make_vehicle(), make.make_user(Role.DESK)
    lists = PickList.objects.bulk_create(PickList(title="many", made_at=NOON) for _ in range(count))
    return WorkOrder.objects.bulk_create(
        WorkOrder(
            customer=vehicle.customer, vehicle=vehicle, complaint="leaks", arrives_on=NOON.date(), promised_for=NOON,
            pick_list=one, booked_by=by, booked_at=NOON,
        )
        for one in lists
    )  # fmt: skip


def test_the_list_takes_as_many_queries_for_fifty_orders_as_for_five(at_desk, django_assert_num_queries):
    make_many(5)
    at_desk.get(ORDERS)
    with django_assert_num_queries(3):  # session, user, orders
        page = at_desk.get(ORDERS)
    assert words(page).count("LG-") == 5
    make_many(45)
    with django_assert_num_queries(3):
        page = at_desk.get(ORDERS)
    assert words(page).count("LG-") == 50


def test_the_list_shows_fifty_and_leads_to_the_older_ones(at_desk):
    orders = make_many(120)
    seen, url = [], ORDERS
    while url:
        page = at_desk.get(url).content.decode()
        seen += [order.number for order in reversed(orders) if f">{order.number}<" in page]
        older = page.split('rel="next" href="')[1].split('"')[0] if 'rel="next"' in page else ""
        url = older and ORDERS + older.replace("&amp;", "&")
    assert seen == [order.number for order in reversed(orders)]
    assert "No older orders." in words(at_desk.get(ORDERS, {"before": orders[0].pk}))


def test_the_list_is_narrowed_by_state_and_text(at_desk):
    booked = make_order("Ines Calloway")
    ready = make_order("Petra Oyelaran", OrderStatus.READY)
    gone = make_order("Ada Kessler", OrderStatus.HANDED_BACK)
    for asked, found in [
        ({"state": "booked"}, [booked]),
        ({"state": "running"}, [booked, ready]),
        ({"state": "handed_back"}, [gone]),
        ({"q": "oyelaran"}, [ready]),
        ({"q": ready.number}, [ready]),
        ({"q": ready.jobs.get().tag}, [ready]),
        ({"q": "lg ada"}, [gone]),
        ({"q": "calloway", "state": "ready"}, []),
    ]:
        page = words(at_desk.get(ORDERS, asked))
        assert {order.number for order in (booked, ready, gone) if order.number in page} == {
            order.number for order in found
        }, asked
        assert ("No such order." in page) is (not found)


@pytest.mark.parametrize(
    "asked", [{"state": "lost"}, {"q": "x" * 101}, {"q": "\x00"}, {"before": "soon"}, {"before": "-3"}]
)
def test_a_question_that_makes_no_sense_is_told_so(at_desk, asked):
    make_order()
    page = at_desk.get(ORDERS, asked)
    assert page.status_code == 422
    assert "LG-1" not in words(page)


def test_no_orders_yet_leads_to_the_first(at_desk):
    assert "The first one comes with the first booking." in words(at_desk.get(ORDERS))


# --- one order


@pytest.mark.parametrize(
    ("status", "told", "offered"),
    [
        (OrderStatus.BOOKED, "Rebuild of 1 damper.", {"check_in", "call_off", "pick_list", "bag_tags"}),
        (OrderStatus.ON_BENCH, "0 of 1 damper closed. Rear right:", {
            "pick_list", "job_card", "bag_tags", "close_order"
        }),
        (OrderStatus.READY, "0 done, 1 closed unfinished: rear right: test of the pages. Waits for the customer.", {
            "hand_back", "pick_list", "job_card", "bag_tags", "service_record"
        }),
        (OrderStatus.HANDED_BACK, "1 damper handed back: 0 done, 1 closed unfinished: rear right: test of the "
        "pages.", {"pick_list", "job_card", "bag_tags", "service_record"}),
        (OrderStatus.CALLED_OFF, "Called off: sold the vehicle", {"pick_list"}),
    ],
)  # fmt: skip
def test_an_order_answers_the_telephone_and_leads_on_by_its_state(as_manager, status, told, offered):
    order = make_order(status=status)
    response = as_manager.get(order.get_absolute_url())
    assert told in words(response)
    page = response.content.decode()
    every = ["check_in", "call_off", "pick_list", "bag_tags", "job_card", "hand_back", "service_record"]
    ways = [f"desk:{name}" for name in every] + ["tablet:close_order"]
    found = {way.split(":")[1] for way in ways if f'href="{reverse(way, args=[order.pk])}"' in page}
    assert found == offered


def test_an_order_tells_its_history_and_its_progress(at_desk):
    order = make_order("Ines Calloway", OrderStatus.ON_BENCH)
    page = words(at_desk.get(order.get_absolute_url()))
    assert "booked with 1 damper" in page
    assert "checked in" in page
    assert "0 of 15 steps of Rebuild version 2" in page
    assert "leaks at the shaft" in page


def test_a_manager_reason_for_closing_stands_on_the_order(at_desk):
    order = make_order(status=OrderStatus.READY)
    page = words(at_desk.get(order.get_absolute_url()))
    assert "Closed with a manager's reason" in page
    assert "“test of the pages”" in page


# --- the search


def test_the_search_goes_straight_to_the_only_thing_it_finds(at_desk):
    order = make_order("Ines Calloway")
    make_order("Theo Marsh")
    for asked in (order.number, order.number.lower(), order.number.removeprefix("LG-"), order.jobs.get().tag):
        assert at_desk.get(FIND, {"q": asked}).url == order.get_absolute_url(), asked
    lonely = make.make_customer(name="Noor Abernathy")
    assert at_desk.get(FIND, {"q": "abernathy"}).url == lonely.get_absolute_url()


def test_the_search_shows_orders_and_customers(at_desk):
    order = make_order("Ines Calloway")
    page = words(at_desk.get(FIND, {"q": "0121"}))
    assert order.number in page
    assert "Ines Calloway" in page


@pytest.mark.parametrize("asked", ["", "nobody at all", "%", "'; DROP TABLE", "😀", "1042-", "9" * 12])
def test_a_search_that_finds_nothing_says_what_can_be_typed(at_desk, asked):
    make_order()
    page = at_desk.get(FIND, {"q": asked})
    assert page.status_code == 200
    assert "Nothing found." in words(page)


def test_a_search_that_is_too_long_is_told_so(at_desk):
    page = at_desk.get(FIND, {"q": "x" * 5000})
    assert page.status_code == 422
    assert "at most 100 characters" in words(page)
