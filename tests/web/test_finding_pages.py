"""What the one box shows, and two entries of one customer side by side."""

import pytest
from django.urls import reverse

from shop.customers.models import Customer
from shop.workorders.services import call_off
from tests import factories as make
from tests.factories import NOON
from tests.web.people import send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
FIND = reverse("desk:search")
TYPED = reverse("desk:search_as_typed")


@pytest.fixture
def order(desk):
    owner = make.make_customer(name="Ines Calloway", phone="555-0142")
    vehicle = make.make_vehicle(customer=owner, plate="KLR-204")
    return make.make_order(vehicle=vehicle, dampers=[make.make_damper(vehicle, serial="PV-88")], by=desk)


@pytest.mark.flow
def test_each_hit_is_a_sentence_that_says_what_it_is_whose_and_in_which_state(at_desk, order):
    page = words(at_desk.get(TYPED, {"q": "calloway"}))
    assert "Ines Calloway Customer, 555-0142, ines@example.com." in page
    assert f"{order.vehicle} Vehicle of Ines Calloway, plate KLR-204." in page
    assert f"PV-88 Damper {order.jobs.get().damper}, of Ines Calloway, rear right on the {order.vehicle}." in page
    assert f"{order} Order of Ines Calloway, {order.vehicle}: booked." in page


@pytest.mark.flow
def test_a_bag_tag_and_an_order_number_in_full_lead_to_the_order(at_desk, order):
    tag = order.jobs.get().tag
    for text in (tag, order.number, order.number.lower(), tag.split("-")[0]):
        assert at_desk.get(FIND, {"q": text}).url == order.get_absolute_url()
    assert f"{tag} Bag of Ines Calloway" in words(at_desk.get(TYPED, {"q": tag}))


def test_what_is_only_alike_is_told_so(at_desk, order):
    for url in (FIND, TYPED, reverse("desk:customers"), reverse("desk:orders"), reverse("desk:book")):
        page = words(at_desk.get(url, {"q": "caloway"}))
        assert "Nothing says “caloway”; alike: Calloway." in page, url
        assert "Ines Calloway" in page, url
    assert "Nothing says" not in words(at_desk.get(FIND, {"q": "nobody"}))


def test_a_called_off_order_comes_last_and_is_not_hidden(at_desk, order, desk):
    other = make.make_order(vehicle=None, dampers=[make.make_damper(customer=order.customer)], by=desk)
    call_off(order=order, why="sold", by=desk, at=NOON)
    page = words(at_desk.get(TYPED, {"q": "calloway"}))
    assert page.index(other.number) < page.index(order.number)
    assert f"{order.vehicle}: called off." in page


def test_finding_takes_as_many_queries_for_many_hits_as_for_one(at_desk, order, django_assert_max_num_queries):
    for n in range(8):
        vehicle = make.make_vehicle(customer=make.make_customer(name=f"Pia Calloway {n}"))
        make.make_order(vehicle=vehicle, dampers=[make.make_damper(vehicle)])
    at_desk.get(TYPED, {"q": "calloway"})
    for _ in range(2):
        make.make_order(dampers=[make.make_damper(customer=order.customer)])
    told = 14  # what the telephone answers of any number of orders ask
    with django_assert_max_num_queries(9 + told):  # session, user, entries (twice for many), five kinds of rows
        at_desk.get(TYPED, {"q": "calloway"})
    with django_assert_max_num_queries(12 + told):  # and the models, and who has dampers that are not serviced
        at_desk.get(FIND, {"q": "calloway"})


def test_a_page_without_scripts_has_a_plain_search(at_desk):
    page = at_desk.get(FIND, {"q": "x"}).content.decode()
    assert f'action="{FIND}"' in page
    assert 'role="combobox"' not in page, "only the module makes it one"


@pytest.mark.flow
def test_two_entries_are_compared_and_made_one(at_desk, order):
    twin = make.make_customer(name="Ines Caloway", phone="5550142", email="", note="rings twice")
    page = words(at_desk.get(order.customer.get_absolute_url()))
    assert "Compare with Ines Caloway, who has this telephone number." in page
    merge = reverse("desk:customer_merge", args=[order.customer.pk])
    assert "Ines Caloway" in words(at_desk.get(merge))
    compared = words(at_desk.get(f"{merge}?other={twin.pk}"))
    for said in ("Vehicles 1", "Dampers 1", "Work orders 1", "rings twice", "Not asked yet"):
        assert said in compared
    answer = send(at_desk, f"{merge}?other={twin.pk}", "other", stays=str(twin.pk), name=str(order.customer.pk))
    assert answer.url == twin.get_absolute_url()
    order.refresh_from_db()
    assert order.customer == twin
    twin.refresh_from_db()
    assert (twin.name, twin.note, twin.email) == ("Ines Calloway", "rings twice", "ines@example.com")
    gone = Customer.objects.get(merged_into=twin)
    followed = at_desk.get(gone.get_absolute_url(), follow=True)
    assert followed.redirect_chain[-1][0] == twin.get_absolute_url()
    assert "was merged into this customer" in words(followed)
    assert gone not in at_desk.get(reverse("desk:customers")).context["page"].object_list


def test_who_compared_what_has_changed_since_is_told(at_desk, order):
    twin = make.make_customer(name="Ines Caloway")
    merge = reverse("desk:customer_merge", args=[order.customer.pk]) + f"?other={twin.pk}"
    answer = send(at_desk, merge, "other", versions="1 7")
    assert answer.status_code == 409
    assert "changed Ines Caloway since you compared the two" in words(answer)
    assert send(at_desk, merge, "other", versions="x").status_code == 422
    assert at_desk.get(merge.replace(str(twin.pk), "x")).status_code == 404


def test_every_address_of_an_entry_that_was_merged_leads_to_the_one_who_stays(at_desk):
    stays = make.make_customer()
    gone = make.make_customer(merged_into=stays)
    book = reverse("desk:book")
    for name in ("customer", "customer_change", "vehicle_new"):
        assert at_desk.get(reverse(f"desk:{name}", args=[gone.pk])).url == reverse(f"desk:{name}", args=[stays.pk])
    for ask in ("customer", "loose"):
        assert at_desk.get(f"{book}?{ask}={gone.pk}").url == f"{book}?{ask}={stays.pk}"
    assert at_desk.get(reverse("desk:customer_merge", args=[gone.pk])).status_code == 302
