"""Closing a damper and booking the parts of its order."""

import pytest
from django.urls import reverse

from shop.parts.selectors import stock_of
from shop.specs.models import SheetStatus
from shop.workorders import services
from shop.workorders.models import JobStatus, OrderStatus
from tests import factories as make
from tests.factories import NOON
from tests.web.dampers_at_work import FILL, TORQUE, at_step, order_on_the_benches, record, tools, work
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


@pytest.fixture
def kit(db):
    return tools()


@pytest.fixture
def job(desk, technician, second, kit):
    """A damper with every step done."""
    job = order_on_the_benches(desk).jobs.get()
    work(job, technician, second, tools=kit)
    return job


@pytest.fixture
def half_done(desk, technician, second, kit):
    """A damper that lacks all from the torque of the shaft nut on."""
    job = order_on_the_benches(desk).jobs.get()
    work(job, technician, second, tools=kit, to=TORQUE)
    return job


def at_closing(job):
    return reverse("tablet:close", args=[job.pk])


def at_parts(order):
    return reverse("tablet:close_order", args=[order.pk])


def status_of(thing):
    thing.refresh_from_db()
    return thing.status


def test_a_damper_with_nothing_missing_is_closed_by_one_press(at_bench, job, technician):
    page = at_bench.get(at_closing(job))
    assert "Nothing is missing" in words(page)
    assert send(at_bench, at_closing(job)).url == job.get_absolute_url()
    assert status_of(job) == JobStatus.CLOSED
    assert job.closed_by == technician
    assert "This damper is closed by Tobias Nkemelu" in words(at_bench.get(job.get_absolute_url()))
    assert at_bench.get(at_closing(job)).url == job.get_absolute_url()


def test_each_missing_thing_has_its_sentence_and_a_way_to_mend_it(at_bench, half_done):
    page = at_bench.get(at_closing(half_done))
    assert "Still missing: 8" in words(page)
    assert "Tighten the shaft nut: waits for the shaft nut torque." in words(page)
    assert "Compression, clicks out from closed" in words(page)
    for number in range(TORQUE, 15):
        assert f'href="{at_step(half_done, number)}"' in page.content.decode()
    assert "A manager can close it all the same" in words(page)
    assert "override_reason" not in page.content.decode()


def test_a_draft_sheet_is_one_of_the_missing_things(at_bench, desk):
    job = order_on_the_benches(desk, status=SheetStatus.DRAFT).jobs.get()
    assert "a DRAFT that nobody had verified." in words(at_bench.get(at_closing(job)))


def test_closing_too_early_is_refused_and_lists_what_is_missing(at_bench, half_done):
    answer = at_bench.post(at_closing(half_done))
    assert answer.status_code == 422
    assert "Not closed. Nothing was changed." in words(answer)
    assert "Fill: waits for the oil volume." in words(answer)
    assert status_of(half_done) == JobStatus.OPEN


def test_what_went_missing_while_the_page_was_open_stops_the_closing(at_bench, job, manager, kit):
    press = form(at_bench.get(at_closing(job)))
    reading = job.readings.get(measure="shaft_nut_torque")
    record(job, "shaft_nut_torque", manager, "18.6 lbf·ft", tools=kit, corrects=reading, why="pulled again")
    answer = at_bench.post(at_closing(job), press)
    assert answer.status_code == 422
    assert "Tighten the shaft nut: waits for a second person's check." in words(answer)
    assert status_of(job) == JobStatus.OPEN


def test_a_technician_cannot_override_even_by_hand(at_bench, half_done):
    answer = at_bench.post(at_closing(half_done), {"override_reason": "in a hurry"})
    assert answer.status_code == 403
    assert "Only a manager can close a damper that lacks something." in words(answer)
    assert status_of(half_done) == JobStatus.OPEN


def test_a_manager_overrides_with_a_reason_that_is_told(as_manager, half_done):
    answer = send(as_manager, at_closing(half_done), override_reason="shaft snapped, customer told")
    assert answer.url == half_done.get_absolute_url()
    assert status_of(half_done) == JobStatus.CLOSED
    assert "shaft snapped, customer told" in words(as_manager.get(answer.url))


@pytest.mark.parametrize(
    ("reason", "sentence"), [("", "Say why this damper is closed although"), ("x" * 501, "at most 500")]
)
def test_an_override_without_a_usable_reason_is_refused_and_kept(as_manager, half_done, reason, sentence):
    answer = send(as_manager, at_closing(half_done), override_reason=reason)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert form(answer)["override_reason"] == reason
    assert status_of(half_done) == JobStatus.OPEN


def test_a_reason_is_not_kept_for_a_damper_that_lacked_nothing(as_manager, job):
    assert as_manager.post(at_closing(job), {"override_reason": "just in case"}).status_code == 302
    job.refresh_from_db()
    assert (job.status, job.override_reason) == (JobStatus.CLOSED, "")


def test_a_booked_damper_cannot_be_closed(at_bench, desk):
    job = order_on_the_benches(desk, check_in=False).jobs.get()
    assert at_bench.get(at_closing(job)).url == job.get_absolute_url()
    answer = at_bench.post(at_closing(job))
    assert answer.status_code == 409
    assert "check it in first" in words(answer)


def test_the_front_desk_cannot_close(at_desk, job):
    assert at_desk.post(at_closing(job)).status_code == 403
    assert status_of(job) == JobStatus.OPEN


# --- the order --------------------------------------------------------------------------------------------------------


@pytest.fixture
def order(desk, manager):
    """Two dampers closed; a kit and 40 g of grease each were asked for, 100 g of grease lie on the shelf."""
    model = make.make_damper_model()
    grease = make.make_part("GREASE", on_hand=100_000, measure="mass", name="seal grease")
    make.make_kit_line(model, grease.number, amount=40_000, measure="mass", name="seal grease")
    order = order_on_the_benches(desk, model=model, dampers=2)
    for job in order.jobs.all():
        services.close_job(job=job, override_reason="test of the pages", by=manager, at=NOON)
    return order


def on_hand(order):
    parts = {line.part for line in order.pick_list.lines.select_related("part")}
    return {part.name: stock.on_hand for part in parts for stock in [stock_of([part])[part.pk]]}


def test_the_used_parts_are_filled_in_with_what_was_asked_for_and_leave_the_stock(at_bench, order):
    page = at_bench.get(at_parts(order))
    amounts = [value for name, value in form(page).items() if name.startswith("used_")]
    assert sorted(amounts) == ["1", "1", "40", "40"]
    assert "GREASE: asked for 40 g; not picked: it is taken from the shelf now." in words(page)
    assert send(at_bench, at_parts(order)).url == at_parts(order)
    assert status_of(order) == OrderStatus.READY
    assert on_hand(order) == {"seal kit": 0, "seal grease": 20_000}
    assert f"{order.number} is ready to hand back" in words(at_bench.get(at_parts(order)))


def test_once_it_is_closed_the_page_tells_what_was_used_against_what_was_picked(at_bench, order, technician):
    services.pick_part(order=order, part_number="GREASE", by=technician, at=NOON)
    assert on_hand(order)["seal grease"] == 20_000
    assert send(at_bench, at_parts(order), **{line_field(order, "GREASE"): "12.5 g"}).status_code == 302
    assert on_hand(order)["seal grease"] == 100_000 - 12_500 - 40_000
    told = words(at_bench.get(at_parts(order)))
    assert "40 g picked, 12.5 g used: 27.5 g went back" in told
    assert "40 g picked, 40 g used" in told
    assert "1 used without being picked" in told


def line_field(order, number):
    return f"used_{order.pick_list.lines.filter(part_number=number).first().pk}"


def test_what_was_different_is_typed(at_bench, order):
    assert send(at_bench, at_parts(order), **{line_field(order, "GREASE"): "12.5 g"}).status_code == 302
    assert on_hand(order)["seal grease"] == 100_000 - 12_500 - 40_000


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("500", "500 g used, but the book has"),
        ("", "Type 0 if none was used."),
        ("some", "“some” cannot be read."),
        ("-3", "Give zero or more."),
    ],
)
def test_a_used_amount_that_cannot_be_is_refused_and_kept_and_no_stock_moves(at_bench, order, typed, sentence):
    name = line_field(order, "GREASE")
    answer = send(at_bench, at_parts(order), **{name: typed})
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert form(answer)[name] == typed
    assert status_of(order) == OrderStatus.ON_BENCH
    assert on_hand(order) == {"seal kit": 2, "seal grease": 100_000}


@pytest.mark.parametrize(
    ("typed", "sentence"), [("1.5", "Give a whole number of pcs."), ("9", "9 used, but the book has")]
)
def test_pieces_are_whole_and_no_more_than_there_are(at_bench, order, typed, sentence):
    kit = order.pick_list.lines.get(tag=f"{order.jobs.first().tag}", measure="count")
    answer = send(at_bench, at_parts(order), **{f"used_{kit.pk}": typed})
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert on_hand(order)["seal kit"] == 2


def test_the_order_is_closed_once_however_often_it_is_sent(at_bench, order):
    press = form(at_bench.get(at_parts(order)))
    assert [at_bench.post(at_parts(order), press).status_code for _ in range(2)] == [302, 302]
    assert on_hand(order)["seal grease"] == 20_000


def test_an_order_with_a_damper_open_says_which(at_bench, desk, job):
    page = at_bench.get(at_parts(job.order))
    assert "Not yet: 1 of 1 dampers is open" in words(page)
    assert job.get_absolute_url() in page.content.decode()
    answer = at_bench.post(at_parts(job.order), {line_field(job.order, line.part_number): "1" for line in lines(job)})
    assert answer.status_code == 422
    assert f"Damper {job.tag}, front left, is not closed yet." in words(answer)
    assert status_of(job.order) == OrderStatus.ON_BENCH


def lines(job):
    return job.order.pick_list.lines.all()


def test_a_booked_order_has_no_parts_to_book(at_bench, desk):
    order = order_on_the_benches(desk, check_in=False)
    assert f"{order.number} is booked" in words(at_bench.get(at_parts(order)))
    used = {f"used_{line.pk}": "1" for line in order.pick_list.lines.all()}
    assert at_bench.post(at_parts(order), used).status_code == 409


def test_the_used_parts_are_booked_by_whoever_works_at_the_bench(at_desk, order):
    assert at_desk.get(at_parts(order)).status_code == 403


def test_an_unknown_order_is_not_found(at_bench):
    assert at_bench.get(reverse("tablet:close_order", args=[123456])).status_code == 404


def test_the_last_step_of_the_last_damper_leads_to_closing(at_bench, job):
    assert f'href="{at_closing(job)}">Close this damper</a>' in at_bench.get(job.get_absolute_url()).content.decode()
    assert at_step(job, FILL) in at_bench.get(job.get_absolute_url()).content.decode()


def test_a_damper_that_failed_is_opened_again_with_a_reason_and_begins_with_zero_pressure(at_bench, job):
    page = reverse("tablet:open_again", args=[job.pk])
    assert page in at_bench.get(job.get_absolute_url()).content.decode()
    refused = send(at_bench, page, why="")
    assert refused.status_code == 422
    assert "Say why the damper is opened again" in words(refused)
    assert send(at_bench, page, why="dead spot at mid stroke").url == job.get_absolute_url()
    told = words(at_bench.get(job.get_absolute_url()))
    assert "Opened again by" in told
    assert "“dead spot at mid stroke”" in told
    assert "Not yet" in words(at_bench.get(reverse("tablet:step", args=[job.pk, 8])))
