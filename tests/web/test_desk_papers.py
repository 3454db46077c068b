"""The pick list, everything that is printed, and the page behind a card's code."""

from io import BytesIO

import pytest
from django.urls import reverse
from pypdf import PdfReader

from shop.documents.services import job_card
from shop.parts.services import receive
from shop.picklists.models import PickLine
from shop.workorders.models import WorkOrder
from shop.workorders.services import call_off, check_in, close_job, close_order
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, make_family, make_vehicle_with_dampers, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


def make_order(family=None, **given):
    vehicle = make_vehicle_with_dampers(family)
    return make.make_order(vehicle=vehicle, dampers=list(vehicle.dampers.all()), **given)


def url(name, order):
    return reverse(f"desk:{name}", args=[order.pk])


def print_of(response):
    assert response.status_code == 200, words(response)
    assert response["Content-Type"] == "application/pdf"
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(response.content)).pages)


# --- the pick list


def test_the_pick_list_tells_in_bin_order_what_to_take_and_from_where(at_bench):
    family = make_family()
    make.make_movement(family["oil"], -340_000, container=family["bottle"], kind="used")
    page = words(at_bench.get(url("pick_list", make_order(family))))
    assert page.index("seal kit H2") < page.index("damper oil Tarn No. 5")  # B-07 before F-02
    assert "Everything is held for this order." in page
    assert "1342 mL 1342 mL the opened 1 L bottle: 660 mL, then 1 × 1 L bottle" in page  # 4 × 305 mL and 10 %


def test_what_is_short_says_how_much_and_what_to_buy(at_bench):
    family = make_family()
    make.make_movement(family["oil"], -1_500_000, container=family["bottle"], kind="used")
    make.make_movement(family["kit"], -2, kind="used")
    page = words(at_bench.get(url("pick_list", make_order(family))))
    assert "Short. Not everything that is needed could be held." in page
    assert "4 3 take 3 1 short: buy 1" in page
    assert "842 mL short: buy 1 × 1 L bottle" in page


def test_a_part_is_marked_as_picked_and_put_back(at_bench, technician):
    order = make_order()
    page = at_bench.get(url("pick_list", order))
    part = form(page, "row")["part"]
    number = part if isinstance(part, str) else part[0]
    answer = at_bench.post(url("pick_row", order), {"part": number, "do": "pick"})
    assert answer.url == url("pick_list", order)
    assert "picked" in words(at_bench.get(answer.url))
    assert set(PickLine.objects.filter(part_number=number).values_list("picked_by", flat=True)) == {technician.pk}
    assert at_bench.post(url("pick_row", order), {"part": number, "do": "pick"}).status_code == 302
    at_bench.post(url("pick_row", order), {"part": number, "do": "unpick"})
    assert not PickLine.objects.exclude(picked_at=None).exists()


def test_when_every_part_is_picked_the_list_says_so(at_bench):
    family = make_family()
    order = make_order(family)
    for part in (family["kit"], family["oil"]):
        at_bench.post(url("pick_row", order), {"part": part.number, "do": "pick"})
    assert "All picked." in words(at_bench.get(url("pick_list", order)))


def test_only_what_is_held_is_picked(at_bench):
    family = make_family()
    make.make_movement(family["kit"], -3, kind="used")
    order = make_order(family)
    at_bench.post(url("pick_row", order), {"part": family["kit"].number, "do": "pick"})
    assert "picked for 2 of 4 bags" in words(at_bench.get(url("pick_list", order)))


def test_what_has_come_in_can_be_held_for_a_list_that_was_short(at_bench, desk):
    family = make_family()
    make.make_movement(family["kit"], -3, kind="used")
    order = make_order(family)
    receive(part=family["kit"], amount=2, by=desk, at=NOON)
    assert "Short." in words(at_bench.get(url("pick_list", order)))
    assert at_bench.post(url("pick_hold", order)).status_code == 302
    page = words(at_bench.get(url("pick_list", order)))
    assert "Everything is held for this order." in page
    assert sum(line.held for line in order.pick_list.lines.filter(part=family["kit"])) == 4


@pytest.mark.parametrize("sent", [{}, {"part": "nothing"}, {"part": "x" * 5000}, {"do": "pick"}])
def test_a_part_that_is_not_on_the_list_cannot_be_picked(at_bench, sent):
    assert at_bench.post(url("pick_row", make_order()), sent).status_code == 404


def test_nothing_is_picked_or_held_for_an_order_that_is_over(at_bench, desk):
    family = make_family()
    order = make_order(family)
    call_off(order=order, why="sold", by=desk, at=NOON)
    for answer in (
        at_bench.post(url("pick_row", order), {"part": family["kit"].number, "do": "pick"}),
        at_bench.post(url("pick_hold", order)),
    ):
        assert answer.status_code == 409
        assert "is called off" in words(answer)
    assert not PickLine.objects.exclude(picked_at=None).exists()
    assert "Mark picked" not in words(at_bench.get(url("pick_list", order)))


def test_the_pick_list_takes_as_many_queries_for_four_dampers_as_for_one(at_bench, django_assert_num_queries):
    family = make_family()
    one = make.make_order(dampers=[make.make_damper(make.make_vehicle(), model=family["damper_model"])])
    four = make_order(family)
    at_bench.get(url("pick_list", one))
    with django_assert_num_queries(15) as few:
        at_bench.get(url("pick_list", one))
    with django_assert_num_queries(len(few.captured_queries)):
        page = words(at_bench.get(url("pick_list", four)))
    assert f"{1000 + four.pk}-4" in page


def test_dampers_without_a_parts_list_say_so(at_bench):
    order = make.make_order(dampers=[make.make_damper(make.make_vehicle())])
    assert "No parts list." in words(at_bench.get(url("pick_list", order)))


# --- papers


def test_the_job_card_is_a_private_pdf_that_opens_in_the_browser(at_bench, desk):
    order = make_order()
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    response = at_bench.get(url("job_card", order))
    text = print_of(response)
    assert order.number in text
    assert "22" in text
    assert response["Content-Disposition"] == f'inline; filename="{order.number}-job-card-1.pdf"'
    assert {"private", "no-store"} <= {part.strip() for part in response["Cache-Control"].split(",")}


def test_pick_list_and_bag_tags_print_from_the_booking_on(at_bench):
    order = make_order()
    assert "Tarn No. 5" in print_of(at_bench.get(url("pick_list_pdf", order)))
    tags = print_of(at_bench.get(url("bag_tags", order)))
    assert all(job.tag in tags for job in order.jobs.all())


def test_the_service_record_prints_when_the_order_is_closed(at_desk, manager):
    order = make_order()
    check_in(order=order, meters=[], as_found=[], by=manager, at=NOON)
    for job in order.jobs.all():
        close_job(job=job, override_reason="test of the pages", by=manager, at=NOON)
    close_order(order=order, used=[], by=manager, at=NOON)
    assert "test of the pages" in print_of(at_desk.get(url("service_record", order)))


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("job_card", "the job card comes with the check-in, which fixes its figures."),
        ("service_record", "the service record comes when the order is closed."),
    ],
)
def test_a_paper_before_its_time_is_a_page_that_says_why(at_desk, name, told):
    page = at_desk.get(url(name, make_order()))
    assert page.status_code == 409
    assert page["Content-Type"].startswith("text/html")
    assert told in words(page)
    assert "no-store" in page["Cache-Control"]


@pytest.mark.parametrize("name", ["job_card", "pick_list_pdf", "bag_tags", "service_record"])
def test_a_paper_is_only_read(as_manager, name):
    assert as_manager.post(url(name, make_order())).status_code == 405


def test_the_code_on_a_card_tells_whether_it_is_the_current_one(at_bench, desk):
    order = make_order()
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    card = job_card(order=order, at=NOON)
    scanned = reverse("desk:card_check", args=[order.pk, card.revision, card.digest[:12]])
    page = words(at_bench.get(scanned))
    assert "Current card" in page
    assert f"Card revision 1 of {order} is the current one." in page

    WorkOrder.objects.filter(pk=order.pk).update(complaint="knocks, and now it leaks too")
    page = words(at_bench.get(scanned))
    assert "Do not work from this card" in page
    assert "has changed since" in page

    job_card(order=order, at=NOON)
    assert "is superseded by revision 2" in words(at_bench.get(scanned))


@pytest.mark.parametrize(("revision", "digest"), [(7, "abcdef"), (1, "0" * 64), (10**20, "x"), (1, "x" * 3000)])
def test_a_code_that_was_never_printed_is_no_card_to_work_from(at_bench, revision, digest):
    order = make_order()
    page = at_bench.get(reverse("desk:card_check", args=[order.pk, revision, digest]))
    assert page.status_code == 200
    assert "Do not work from this card" in words(page)


def test_a_card_of_an_unknown_order_has_no_page(at_bench):
    assert at_bench.get(reverse("desk:card_check", args=[4711, 1, "abc"])).status_code == 404
