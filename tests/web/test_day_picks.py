"""The pick list for a day over all orders, and the order of the stock room."""

from datetime import timedelta
from io import BytesIO

import pytest
from django.urls import reverse
from pypdf import PdfReader

from shop.picklists.models import PickLine
from shop.workorders.services import check_in, close_job, close_order, pick_part
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, make_family, make_vehicle_with_dampers, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
PICKS, SCAN, TAKE = (f"/picks/{rest}" for rest in ("", "scan/", "take/"))
JSON = {"Accept": "application/json"}


def make_order(family, **given):
    vehicle = make_vehicle_with_dampers(family)
    return make.make_order(vehicle=vehicle, dampers=list(vehicle.dampers.all()), **given)


@pytest.fixture
def family():
    return make_family()


@pytest.mark.flow
def test_the_day_tells_each_part_once_over_all_orders_with_one_plan(at_bench, family):
    make.make_movement(family["kit"], 3)
    first, second = make_order(family), make_order(family, promised_for=NOON + timedelta(days=1))
    page = words(at_bench.get(PICKS))
    assert "2 orders, 8 dampers" in page
    assert "8 dampers, 8 pieces, 1 each" in page
    # 8 times 305 mL and 10 % for bleeding are 2684 mL, of which 2000 mL stand there: two whole bottles, no opened one.
    assert "2684 mL 0 mL 2 × 1 L bottle 684 mL short: buy 1 × 1 L bottle" in page
    assert page.index(str(second)) < page.index(str(first))  # the earliest promise first
    assert "Promises at risk" in page


def test_a_day_without_work_says_what_to_do(at_bench):
    assert "Nothing to gather." in words(at_bench.get(PICKS))


def test_orders_are_ticked_off_and_other_days_shown(at_bench, family):
    first = make_order(family)
    later = make_order(family, arrives_on=NOON.date() + timedelta(days=3), promised_for=NOON + timedelta(days=5))
    assert str(later) not in words(at_bench.get(PICKS))
    page = words(at_bench.get(PICKS, {"day": "2026-11-28"}))
    assert str(later) in page
    page = words(at_bench.get(PICKS, {"day": "2026-11-28", "without": first.pk}))
    assert "1 order, 4 dampers" in page
    assert "Orders on the list: 1 of 2" in page


@pytest.mark.parametrize("day", ["soon", "1066-01-01", "2026-13-40", ""])
def test_a_day_that_is_none_is_today(at_bench, day):
    assert "Pick list for Wednesday 25 November" in words(at_bench.get(PICKS, {"day": day}))


@pytest.mark.flow
def test_a_scan_without_javascript_picks_the_next_bag_and_says_so(at_bench, technician, family):
    order = make_order(family)
    tag = order.jobs.get(index=1).tag
    answer = send(at_bench, PICKS, "scan", SCAN, code=family["kit"].number)
    assert answer.status_code == 302
    page = at_bench.get(answer.url)
    where = order.jobs.get(index=1).damper.where()
    assert f"{family['kit'].number}: 1 into bag {tag}, {where}; 3 more to go." in words(page)
    assert "Your last pick" in words(page)
    line = PickLine.objects.get(picked_by=technician)
    at_bench.post(TAKE, {"take": f"undo-{line.pk}"})
    line.refresh_from_db()
    assert line.picked_at is None


def test_the_same_scan_sent_twice_picks_once(at_bench, family):
    make_order(family)
    sent = form(at_bench.get(PICKS), "scan") | {"code": family["kit"].number}
    for _ in range(2):
        assert at_bench.post(SCAN, sent).status_code == 302
    assert PickLine.objects.filter(picked_at__isnull=False).count() == 1


def test_an_unknown_number_is_refused_in_words_and_nothing_is_picked(at_bench, family):
    make_order(family)
    answer = send(at_bench, PICKS, "scan", SCAN, code="=XX-9<b>")
    assert answer.status_code == 422
    assert "“=XX-9<b>” is on none of these pick lists" in words(answer)
    assert "<b>”" not in answer.content.decode()
    assert send(at_bench, PICKS, "scan", SCAN, code="").status_code == 422


def test_for_the_module_a_scan_answers_words_and_the_row_alone(at_bench, family):
    make_order(family)
    sent = form(at_bench.get(PICKS), "scan") | {"code": family["kit"].number}
    answer = at_bench.post(SCAN, sent, headers=JSON).json()
    assert (answer["refused"], list(answer["rows"])) == (False, [family["kit"].number])
    assert "Put it back" in answer["last"]
    assert answer["request_key"] != sent["request_key"]
    refused = at_bench.post(SCAN, {"code": "XX-9"}, headers=JSON)
    assert (refused.status_code, refused.json()["refused"]) == (422, True)


def test_a_row_an_order_and_a_bag_are_picked_with_one_tap(at_bench, technician, family):
    make.make_movement(family["kit"], 3)
    orders = [make_order(family), make_order(family)]
    lines = {order: list(order.pick_list.lines.filter(part_number=family["kit"].number)) for order in orders}
    picked = PickLine.objects.filter(picked_by=technician)
    at_bench.post(TAKE, {"take": f"line-{lines[orders[0]][0].pk}"})
    assert picked.count() == 1
    at_bench.post(TAKE, {"take": f"order-{lines[orders[1]][0].pk}"})
    assert picked.count() == 5
    at_bench.post(TAKE, {"take": f"row-{lines[orders[0]][0].pk}"})
    assert picked.count() == 8
    at_bench.post(TAKE, {"take": f"back-{lines[orders[0]][0].pk}"})
    assert picked.count() == 7
    page = words(at_bench.get(PICKS))
    assert "put back" in page.lower()


def test_a_bag_that_somebody_else_has_picked_meanwhile_is_told(at_bench, desk, family):
    order = make_order(family)
    pick_part(order=order, part_number=family["kit"].number, by=desk, at=NOON - timedelta(minutes=1))
    line = order.pick_list.lines.filter(part_number=family["kit"].number).first()
    answer = at_bench.post(TAKE, {"take": f"line-{line.pk}"})
    assert answer.status_code == 409
    assert f"{line.part_number} is in the bag {line.tag} already: {desk} took it at" in words(answer)
    assert at_bench.post(TAKE, {"take": f"row-{line.pk}"}).status_code == 409


@pytest.mark.parametrize("take", ["", "row", "row-", "row-x", "nonsense-1", "line-99999999999999999999", "row-\0"])
def test_nonsense_taps_change_nothing(at_bench, family, take):
    make_order(family)
    assert at_bench.post(TAKE, {"take": take}).status_code in (404, 409)
    assert not PickLine.objects.filter(picked_at__isnull=False).exists()


def test_an_alternate_is_taken_for_every_order_that_is_short(at_bench, family):
    line = family["damper_model"].kit_lines.get(part_number=family["kit"].number)
    make.make_alternate(line, "SK-ALT", name="seal kit, second number")
    make.make_part("SK-ALT", on_hand=9)
    make_order(family), make_order(family)  # five kits for eight dampers
    page = at_bench.get(PICKS)
    assert "Take SK-ALT instead" in words(page)
    first = PickLine.objects.filter(part_number=family["kit"].number).first()
    at_bench.post(TAKE, {"take": f"swap-{first.pk}-SK-ALT"})
    assert PickLine.objects.filter(part_number="SK-ALT").count() == 3


def test_the_page_asks_the_database_as_often_for_ten_orders_as_for_one(at_bench, family, django_assert_num_queries):
    make.make_movement(family["kit"], 100)
    make.make_movement(family["oil"], 50_000_000, container=family["bottle"])
    make_order(family)
    with django_assert_num_queries(11) as few:
        at_bench.get(PICKS)
    for _ in range(9):
        make_order(family)
    with django_assert_num_queries(len(few.captured_queries)):
        at_bench.get(PICKS)


def test_the_paper_names_every_bag_and_stands_in_walking_order(at_bench, as_manager, family):
    order = make_order(family)
    send(
        as_manager,
        reverse("manage:walking_order"),
        **{"prefix-0": "B", "place-0": "2", "prefix-1": "F", "place-1": "1"},
    )
    answer = at_bench.get(reverse("desk:picks_pdf"), {"day": "2026-11-25"})
    text = "\n".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages)
    assert text.index("damper oil Tarn No. 5") < text.index("seal kit H2")
    assert all(job.tag in text for job in order.jobs.all())


# --- one order


def test_the_list_of_one_order_takes_scans_too(at_bench, family):
    order = make_order(family)
    address = reverse("desk:order_scan", args=[order.pk])
    answer = send(at_bench, reverse("desk:pick_list", args=[order.pk]), "scan", address, code=family["kit"].number)
    assert "3 more to go" in words(at_bench.get(answer.url))
    answer = at_bench.post(address, {"code": "XX-9"}, headers=JSON)
    assert answer.status_code == 422
    assert "on none of these pick lists" in answer.json()["said"]
    assert at_bench.post(reverse("desk:order_scan", args=[0])).status_code == 404


def test_a_closed_order_shows_used_against_picked(at_desk, desk, manager, family):
    order = make_order(family)
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    pick_part(order=order, part_number=family["kit"].number, by=desk, at=NOON)
    for job in order.jobs.all():
        close_job(job=job, override_reason="scrapped", by=manager, at=NOON)
    line = order.pick_list.lines.filter(part_number=family["kit"].number).first()
    close_order(order=order, used=[(line, 0)], by=desk, at=NOON)
    page = words(at_desk.get(reverse("desk:pick_list", args=[order.pk])))
    assert "picked 4" in page
    assert "less than was picked" in page


# --- the walking order


def test_the_walking_order_is_said_by_numbers(at_desk, family):
    address = reverse("manage:walking_order")
    page = at_desk.get(address)
    assert form(page)["prefix-0"] == "B"
    answer = send(at_desk, address, **{"place-1": "1", "place-0": "2"})
    assert answer.status_code == 302
    assert [form(at_desk.get(address))[name] for name in ("prefix-0", "prefix-1")] == ["F", "B"]


def test_numbers_without_bins_and_an_old_page_are_refused_and_nothing_is_lost(at_desk, as_manager, family):
    address = reverse("manage:walking_order")
    answer = send(at_desk, address, **{"place-2": "7"})
    assert answer.status_code == 422
    assert "Place 7 has no bins" in words(answer)
    old = form(at_desk.get(address)) | {"prefix-0": "B", "place-0": "1"}
    send(as_manager, address, **{"place-1": "1"})
    answer = at_desk.post(address, old)
    assert answer.status_code == 409
    assert "Somebody else has changed the walking order" in words(answer)
    assert form(answer)["place-0"] == "1"
