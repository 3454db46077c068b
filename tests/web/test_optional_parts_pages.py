"""Optional parts and alternates where people meet them: pick list, tablet, papers."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.documents.selectors import card, pick_paper
from shop.documents.services import card_state, job_card
from shop.picklists.models import PickLine
from shop.specs.models import KitLine
from shop.workorders.models import JobStatus
from shop.workorders.services import pick_line, put_back_line, take_up_part
from tests import factories as make
from tests.factories import NOON
from tests.web.dampers_at_work import order_on_the_benches
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


@pytest.fixture
def order(desk):
    """A damper on the benches whose bumper is short; a second number of it is there, and so is a shaft."""
    model = make.make_damper_model()
    bumper = make.make_kit_line(model, "BR-1", name="bumper")
    make.make_part("BR-1", name="bumper")
    make.make_alternate(bumper, "BR-2", name="bumper, second number")
    make.make_part("BR-2", on_hand=2, name="bumper, second number", bin="C-02")
    make.make_kit_line(model, "SH-1", name="shaft", optional=True)
    make.make_part("SH-1", on_hand=1, name="shaft", bin="C-14")
    return order_on_the_benches(desk, model=model)


def pages(order):
    job = order.jobs.get()
    return reverse("desk:pick_list", args=[order.pk]), reverse("tablet:parts", args=[job.pk])


def bag(order):
    return set(order.pick_list.lines.values_list("part_number", "amount"))


# --- the pick list ----------------------------------------------------------------------------------------------------


def test_the_pick_list_offers_the_alternate_and_takes_it_with_one_tap(at_bench, order):
    url, _ = pages(order)
    page = at_bench.get(url)
    assert "An alternate is on hand: bumper, second number, BR-2, 2 free." in words(page)
    button = {"part": "BR-1", "instead": "BR-2"}
    told = words(at_bench.post(f"{url}swap/", button, follow=True))
    assert "in the place of BR-1" in told
    assert "Back to BR-1" in told
    assert ("BR-2", 1) in bag(order)
    assert at_bench.post(f"{url}swap/", {"part": "BR-2", "instead": "BR-1"}).status_code == 302
    assert ("BR-1", 1) in bag(order)


def test_an_alternate_that_is_gone_by_then_is_refused_in_words(at_bench, order):
    url, _ = pages(order)
    PickLine.objects.filter(part_number="BR-1").update(amount=3, kept_chain=[
        {"part_number": "BR-1", "name": "bumper", "amount": 3, "from_draft": False},
        {"part_number": "BR-2", "name": "second", "amount": 3, "from_draft": False},
    ])  # fmt: skip
    page = at_bench.post(f"{url}swap/", {"part": "BR-1", "instead": "BR-2"})
    assert page.status_code == 409
    assert "2 of BR-2 second is free" in words(page)


@pytest.mark.parametrize("asked", [{}, {"part": "\0", "instead": "x"}, {"part": "BR-1", "instead": "\0"}])
def test_nonsense_in_the_place_of_a_part_changes_nothing(at_bench, order, asked):
    url, _ = pages(order)
    before = bag(order)
    assert at_bench.post(f"{url}swap/", asked).status_code == 409
    assert bag(order) == before


def test_the_desk_takes_an_optional_part_up_and_back(at_desk, order):
    url, _ = pages(order)
    tag = order.jobs.get().tag
    assert "nothing is held for it" in words(at_desk.get(url))
    take_up = f"{url}take-up/?tag={tag}&part=SH-1"
    refused = send(at_desk, take_up, amount="0")
    assert refused.status_code == 422
    assert form(refused)["amount"] == "0"
    assert send(at_desk, take_up).status_code == 302
    assert "taken up by" in words(at_desk.get(url))
    assert ("SH-1", 1) in bag(order)
    told = words(at_desk.get(reverse("desk:order", args=[order.pk])))
    assert f"taken up for {tag}: SH-1 shaft, 1" in told
    at_desk.post(f"{url}take-back/", {"tag": tag, "part": "SH-1"})
    assert ("SH-1", 1) not in bag(order)


@pytest.mark.parametrize("query", ["", "?tag=x&part=SH-1", "?tag=TAG&part=BR-1", "?tag=TAG&part=%00"])
def test_what_is_not_offered_cannot_be_taken_up(at_desk, order, query):
    url, _ = pages(order)
    assert at_desk.get(f"{url}take-up/{query.replace('TAG', order.jobs.get().tag)}").status_code == 404


def test_the_pick_list_asks_the_database_as_often_for_many_bags_as_for_one(at_desk, desk, django_assert_num_queries):
    def on_the_benches(dampers):
        model = make.make_damper_model()
        line = make.make_kit_line(model, f"BR-{dampers}0")
        make.make_alternate(line, f"BR-{dampers}1")
        make.make_part(f"BR-{dampers}1", on_hand=9)
        make.make_kit_line(model, f"SH-{dampers}", optional=True)
        return pages_of(order_on_the_benches(desk, model=model, dampers=dampers))

    def pages_of(order):
        return reverse("desk:pick_list", args=[order.pk]), reverse("tablet:parts", args=[order.jobs.first().pk])

    for one, four in zip(on_the_benches(1), on_the_benches(4), strict=True):
        with CaptureQueriesContext(connection) as few:
            at_desk.get(one)
        with django_assert_num_queries(len(few)):
            assert at_desk.get(four).status_code == 200


# --- the tablet -------------------------------------------------------------------------------------------------------


def test_the_technician_takes_up_what_the_inspection_asks_for(at_bench, order):
    _, url = pages(order)
    job = order.jobs.get()
    assert "If the inspection asks for it: shaft, 1" in words(at_bench.get(job.get_absolute_url()))
    page = at_bench.get(url)
    refused = at_bench.post(url, form(page, url) | {"part": "SH-1", "amount": "many"})
    assert refused.status_code == 422
    assert form(refused, url)["amount"] == "many"
    sent = form(page, url) | {"part": "SH-1", "amount": "1"}
    for _ in range(2):  # a double tap
        assert at_bench.post(url, sent).status_code == 302
    assert ("SH-1", 1) in bag(order)
    assert "taken up: 1" in words(at_bench.get(url))
    at_bench.post(f"{url}take-back/", {"part": "SH-1"})
    assert ("SH-1", 1) not in bag(order)


def test_the_technician_takes_the_alternate_for_this_bag(at_bench, order):
    _, url = pages(order)
    line = order.pick_list.lines.get(part_number="BR-1")
    assert "Take BR-2 instead: 2 free" in words(at_bench.get(url))
    at_bench.post(f"{url}swap/", {"line": line.pk, "instead": "BR-2"})
    told = words(at_bench.get(url))
    assert "BR-2, in the place of BR-1" in told
    assert "held, in C-02" in told
    other = at_bench.post(f"{url}swap/", {"line": line.pk, "instead": "BR-9"})
    assert other.status_code == 409
    assert "BR-9 cannot be taken in the place of BR-1" in words(other)


def test_what_lies_in_the_bag_is_put_back_before_it_is_taken_back(at_bench, technician, order):
    job = order.jobs.get()
    line = take_up_part(job=job, part_number="SH-1", by=technician, at=NOON)
    pick_line(line=line, by=technician, at=NOON)
    backs = {
        reverse("desk:take_back", args=[order.pk]): {"tag": job.tag, "part": "SH-1"},
        reverse("tablet:take_back", args=[job.pk]): {"part": "SH-1"},
    }
    for page, (back, button) in zip(pages(order), backs.items(), strict=True):
        told = at_bench.get(page)
        assert back not in told.content.decode()
        assert "icked: put it back first" in words(told)
        answer = at_bench.post(back, button)
        assert answer.status_code == 409
        assert f"SH-1 is picked for {job.tag}. Put it back first" in words(answer)
        assert ("SH-1", 1) in bag(order)
    line.refresh_from_db()
    assert (line.issued, line.picked_by) == (1, technician)
    put_back_line(line=line, by=technician, at=NOON)
    for page, back in zip(pages(order), backs, strict=True):
        assert back in at_bench.get(page).content.decode()
    assert at_bench.post(back, button).status_code == 302
    assert ("SH-1", 1) not in bag(order)


@pytest.mark.parametrize("line", ["", "x", "0", "9" * 40])
def test_a_line_of_no_bag_is_not_found(at_bench, order, line):
    _, url = pages(order)
    assert at_bench.post(f"{url}swap/", {"line": line, "instead": "BR-2"}).status_code == 404


def test_a_closed_damper_keeps_its_bag(at_bench, technician, order):
    _, url = pages(order)
    order.jobs.update(status=JobStatus.CLOSED, closed_by=technician, closed_at=NOON)
    assert "not taken up" in words(at_bench.get(url))
    page = at_bench.post(url, {"part": "SH-1", "amount": "1"})
    assert page.status_code == 409
    assert "is closed: its bag stays as it is" in words(page)


def test_pick_list_and_tablet_say_that_the_order_keeps_its_parts_when_the_parts_list_changes(at_bench, order):
    for url in pages(order):
        assert "A parts list has changed" not in words(at_bench.get(url))
    KitLine.objects.filter(part_number="SH-1").delete()
    for url in pages(order):
        assert "This order keeps the parts that it was given then." in words(at_bench.get(url))


# --- papers -----------------------------------------------------------------------------------------------------------


def test_the_card_tells_what_the_inspection_may_add_until_it_is_taken_up(at_bench, order):
    _, url = pages(order)
    page = card(order).dampers[0]
    assert [(one.amount, one.number) for one in page.optional] == [("1 ×", "SH-1")]
    first = job_card(order=order, at=NOON)
    at_bench.post(url, {"part": "SH-1", "amount": "1"})
    page = card(order).dampers[0]
    assert page.optional == []
    assert "SH-1" in [one.number for one in page.parts]
    assert not card_state(order=order, revision=first.revision, digest=first.digest[:12]).current


def test_the_papers_tell_what_is_taken_in_the_place_of_what(at_bench, order):
    url, _ = pages(order)
    rows = {row.number: row for row in pick_paper(order, NOON).rows}
    assert "An alternate is on hand: bumper, second number BR-2" in rows["BR-1"].instead
    at_bench.post(f"{url}swap/", {"part": "BR-1", "instead": "BR-2"})
    rows = {row.number: row for row in pick_paper(order, NOON).rows}
    assert rows["BR-2"].instead == "In the place of BR-1."
    assert {one.number: one.instead_of for one in card(order).dampers[0].parts}["BR-2"] == "BR-1"
