"""What this shop does not service: the desk sees it before it books, with the words for the customer."""

import pytest
from django.urls import reverse

from shop.dampers.models import Position
from shop.documents.selectors import card, record, tags
from shop.workorders.models import OrderStatus
from shop.workorders.services import close_job, close_order, pick_line
from tests import factories as make
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]

BOOK, FIND = reverse("desk:book"), reverse("desk:search")
TELL = "Tell the customer: It needs the maker's bench."


@pytest.fixture
def live():
    return make.make_damper_model(
        maker="Quoin",
        name="Live 3",
        construction="electronic",
        serviceable=False,
        why_not="It needs the maker's bench.",
    )


@pytest.fixture
def vehicle(live):
    vehicle = make.make_vehicle(customer=make.make_customer(name="Ines Calloway"))
    for position in (Position.FRONT_LEFT, Position.FRONT_RIGHT):
        make.make_damper(vehicle, position, model=live)
    return vehicle


def test_the_search_answers_whether_a_damper_is_serviced_here(at_desk, live):
    make.make_damper_model(name="H2")
    assert f"Quoin Live 3 Electronically controlled Not serviced here. {TELL}" in words(
        at_desk.get(FIND, {"q": "live"})
    )
    assert "Hallinde H2 Monotube with reservoir and IFP Serviced here." in words(
        at_desk.get(FIND, {"q": "hallinde h2"})
    )


def test_whoever_looks_for_a_customer_sees_it_once_per_model(at_desk, vehicle):
    make.make_customer(name="Noor Calloway")
    for url in (FIND, BOOK):
        page = words(at_desk.get(url, {"q": "calloway"}))
        assert page.count(f"Not serviced here: Quoin Live 3. {TELL}") == 1
    vehicle.sold_on = "2026-11-01"
    vehicle.save()
    assert "Not serviced here" not in words(at_desk.get(BOOK, {"q": "calloway"}))


def test_the_choice_of_vehicle_or_loose_dampers_says_it(at_desk, vehicle, live):
    url = f"{BOOK}?customer={vehicle.customer_id}"
    assert f"2 dampers in the book Not serviced here: Quoin Live 3. {TELL}" in words(at_desk.get(url))
    make.make_damper(customer=vehicle.customer, model=live)
    assert words(at_desk.get(url)).count(TELL) == 2
    assert TELL in words(at_desk.get(vehicle.customer.get_absolute_url()))
    assert words(at_desk.get(vehicle.get_absolute_url())).count(TELL) == 2


def test_where_nothing_can_be_booked_the_page_offers_no_booking(at_desk, vehicle):
    url = f"{BOOK}?vehicle={vehicle.pk}"
    page = at_desk.get(url)
    assert "None of these can be booked." in words(page)
    assert words(page).count(TELL) == 2
    assert "complaint" not in form(page)
    make.make_damper(vehicle, Position.REAR_LEFT)
    assert "complaint" in form(at_desk.get(url))


def test_a_model_that_is_not_serviced_here_says_so_where_it_is_chosen(at_desk, vehicle, live):
    page = words(at_desk.get(f"{reverse('desk:damper_new')}?vehicle={vehicle.pk}"))
    assert "Quoin Live 3 (not serviced here)" in page


def test_an_order_that_was_booked_before_says_it_on_its_page_and_at_check_in(at_desk):
    order = make.make_order()
    model = order.jobs.get().damper.model
    check_in = reverse("desk:check_in", args=[order.pk])
    for url in (order.get_absolute_url(), check_in):
        assert "Not serviced here" not in words(at_desk.get(url))
    model.serviceable, model.why_not = False, "It needs the maker's bench."
    model.save()
    for url in (order.get_absolute_url(), check_in):
        assert f"Not serviced here. {TELL}" in words(at_desk.get(url))


# --- taken off a booked order


def no_more(model):
    model.serviceable, model.why_not = False, "It needs the maker's bench."
    model.save()


@pytest.fixture
def order(vehicle, live):
    """A booked order with a seal kit held for each of its two dampers, one of a model that is given up since."""
    live.serviceable, live.why_not = True, ""
    live.save()
    right = vehicle.dampers.get(position=Position.FRONT_RIGHT)
    right.model = make.make_damper_model(name="H2")
    right.save()
    for model in (live, right.model):
        make.make_kit_line(model, make.make_part(on_hand=3).number)
    order = make.make_order(dampers=list(vehicle.dampers.all()))
    no_more(live)
    return order


def left_and_right(order):
    return (order.jobs.get(damper__position=where) for where in (Position.FRONT_LEFT, Position.FRONT_RIGHT))


def test_check_in_refuses_what_is_not_serviced_here_any_more_with_the_words_for_the_customer(at_desk, order):
    left, _ = left_and_right(order)
    check_in = reverse("desk:check_in", args=[order.pk])
    answer = send(at_desk, check_in, distance="4218")
    assert answer.status_code == 422
    told = f"Quoin Live 3, front left, tag {left.tag}, is not serviced here: It needs the maker's bench. Tell"
    assert told in words(answer)
    assert form(answer)["distance"] == "4218"
    order.refresh_from_db()
    assert (order.status, order.vehicle.meter_readings.count()) == (OrderStatus.BOOKED, 0)
    assert reverse("desk:drop_damper", args=[order.pk, left.pk]) in answer.content.decode()


def test_the_day_marks_a_booked_order_that_has_one(at_desk, order):
    day = reverse("desk:day")
    assert f"Not serviced here: Quoin Live 3. {TELL}" in words(at_desk.get(day))
    left, _ = left_and_right(order)
    send(at_desk, reverse("desk:drop_damper", args=[order.pk, left.pk]), why="the customer takes it back")
    page = words(at_desk.get(day))
    assert "Not serviced here" not in page
    assert "Rebuild of 1 damper. All parts are held for it." in page


def test_one_damper_is_taken_off_and_the_order_goes_on_without_it(at_desk, at_bench, order, manager):
    left, right = left_and_right(order)
    url = reverse("desk:drop_damper", args=[order.pk, left.pk])
    assert url in at_desk.get(order.get_absolute_url()).content.decode()
    assert send(at_desk, url, why=" ").status_code == 422
    assert send(at_desk, url, why="the customer takes it back").status_code == 302
    page = words(at_desk.get(order.get_absolute_url()))
    assert f"damper {left.tag} is taken off: the customer takes it back" in page
    assert "Called off" in page
    assert [line.tag for line in order.pick_list.lines.all()] == [right.tag]
    last = reverse("desk:drop_damper", args=[order.pk, right.pk])
    assert last not in at_desk.get(order.get_absolute_url()).content.decode()
    answer = send(at_desk, last, why="this one too")
    assert answer.status_code == 409
    assert "call the order off instead" in words(answer)

    assert send(at_desk, reverse("desk:check_in", args=[order.pk])).status_code == 302
    left.refresh_from_db()
    assert (left.status, left.spec) == ("called_off", None)
    assert [page.tag for page in card(order).dampers] == [right.tag]
    assert [tag.tag for tag in tags(order)] == [right.tag]
    assert at_desk.get(url).status_code == 409
    right.refresh_from_db()
    close_job(job=right, override_reason="a test", by=manager, at=make.NOON)
    close_order(order=order, used=[], by=manager, at=make.NOON)
    assert [one.tag for one in record(order).dampers] == [right.tag]
    assert "0 done, 1 closed unfinished" in words(at_desk.get(order.get_absolute_url()))


def test_what_lies_in_its_bag_is_put_back_first(at_desk, order, desk):
    left, _ = left_and_right(order)
    pick_line(line=order.pick_list.lines.get(tag=left.tag), by=desk, at=make.NOON)
    answer = send(at_desk, reverse("desk:drop_damper", args=[order.pk, left.pk]), why="the customer takes it back")
    assert answer.status_code == 409
    assert f"is picked for {left.tag}. Put it back first" in words(answer)
    assert order.pick_list.lines.filter(tag=left.tag).exists()


# --- clicks -----------------------------------------------------------------------------------------------------------


def test_check_in_shows_how_many_clicks_there_are_and_refuses_more_without_losing_anything(at_desk):
    damper = make.make_damper(make.make_vehicle())
    make.make_adjuster(damper.model, "low_speed", 18)
    order = make.make_order(dampers=[damper])
    url, name = reverse("desk:check_in", args=[order.pk]), f"found_{order.jobs.get().pk}_compression_clicks"
    assert "Low-speed compression: 18 clicks in all." in words(at_desk.get(url))
    answer = send(at_desk, url, distance="4218", **{name: "25"})
    assert answer.status_code == 422
    told = f"Rear right: the low-speed compression adjuster of the {damper.model} has 18 clicks; 25 were counted."
    assert told in words(answer)
    assert {name: "25", "distance": "4218"}.items() <= form(answer).items()
    assert not order.vehicle.meter_readings.exists()
    assert send(at_desk, url, **{name: "18"}).status_code == 302
    order.refresh_from_db()
    assert order.status == OrderStatus.ON_BENCH
