"""A paper is rendered once and kept by what it says; a card knows whether it is still the one to work from."""

import os
import threading
from datetime import timedelta

import pytest
from django.db import connection

from shop.calc.units import parse
from shop.documents.services import DIGITS_IN_QR, bag_tags, card_state, job_card, pick_list_paper
from shop.specs.models import SpecSheet
from shop.specs.services import withdraw_sheet
from shop.workorders.services import finish_step, record_reading
from tests import factories
from tests.documents.orders import make_checked_in, make_family, pages, stock_kit
from tests.factories import NOON

pytestmark = pytest.mark.django_db
LATER = NOON + timedelta(hours=3)


def correct_clicks(order, by, clicks="9"):
    job = order.jobs.first()
    old = job.standing_readings()["compression_clicks", "found"]
    record_reading(
        job=job,
        measure="compression_clicks",
        moment="found",
        entered=parse(clicks, "count", "clicks"),
        corrects=old,
        why="counted from the wrong end",
        by=by,
        at=LATER,
    )


def test_an_unchanged_card_comes_from_the_store(store):
    order = make_checked_in(corners=["rear_right"])
    first = job_card(order=order, at=NOON)
    (kept,) = store.iterdir()
    assert kept.read_bytes() == first.pdf
    kept.write_bytes(b"%PDF what the store holds")
    again = job_card(order=order, at=LATER)
    assert again.pdf == b"%PDF what the store holds"
    assert (again.digest, again.revision) == (first.digest, 1)
    assert order.cards.count() == 1


def test_a_changed_card_is_rendered_under_its_own_name(store, technician):
    order = make_checked_in(corners=["rear_right"])
    first = job_card(order=order, at=NOON)
    correct_clicks(order, technician)
    second = job_card(order=order, at=LATER)
    assert second.digest != first.digest
    assert second.filename == f"{order.number}-job-card-2.pdf"
    assert len(list(store.iterdir())) == 2


def test_working_on_a_damper_does_not_change_its_card(technician):
    order = make_checked_in(corners=["rear_right"])
    first = job_card(order=order, at=NOON)
    job = order.jobs.get()
    steps = list(job.procedure.steps.all())
    finish_step(job=job, step=steps[0], by=technician, at=LATER)
    assert job_card(order=order, at=LATER).digest == first.digest


def test_the_store_may_be_emptied(store):
    order = make_checked_in(corners=["rear_right"])
    first = job_card(order=order, at=NOON)
    for kept in store.iterdir():
        kept.unlink()
    again = job_card(order=order, at=LATER)
    assert pages(again.pdf) == pages(first.pdf)
    assert again.revision == 1


def test_a_store_that_takes_no_file_costs_nobody_the_card(store):
    store.parent.mkdir(parents=True)
    store.write_text("a file where the folder should be")
    order = make_checked_in(corners=["rear_right"])
    assert job_card(order=order, at=NOON).pdf.startswith(b"%PDF")
    assert store.read_text() == "a file where the folder should be"


@pytest.mark.django_db(transaction=True)
def test_two_who_ask_at_once_get_the_same_card(store):
    order = make_checked_in(corners=["rear_right"])
    start, found = threading.Barrier(2), []

    def ask():
        try:
            start.wait()
            found.append(job_card(order=order, at=NOON))
        finally:
            connection.close()

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [paper.revision for paper in found] == [1, 1]
    assert pages(found[0].pdf) == pages(found[1].pdf)
    assert [path.suffix for path in store.iterdir()] == [".pdf"]


def test_the_tags_are_kept_and_the_pick_list_is_of_the_moment(store):
    order = make_checked_in(corners=["rear_right"])
    bag_tags(order=order)
    pick_list_paper(order=order, at=NOON)
    assert len(list(store.iterdir())) == 1
    assert "Stock as of Wed 25 Nov 2026, 15:00" in pages(pick_list_paper(order=order, at=LATER).pdf)[0]


def test_a_card_just_printed_is_the_current_one():
    order = make_checked_in(corners=["rear_right"])
    paper = job_card(order=order, at=NOON)
    state = card_state(order=order, revision=1, digest=paper.digest[:12])
    assert state.current
    assert state.words == f"Card revision 1 of {order.number} is the current one."


def test_a_card_is_out_of_date_as_soon_as_what_it_says_has_changed(technician):
    order = make_checked_in(corners=["rear_right"])
    paper = job_card(order=order, at=NOON)
    correct_clicks(order, technician)
    state = card_state(order=order, revision=1, digest=paper.digest[:12])
    assert not state.current
    assert "has changed since" in state.words


def test_a_superseded_card_says_by_which_one(technician):
    order = make_checked_in(corners=["rear_right"])
    old = job_card(order=order, at=NOON)
    correct_clicks(order, technician)
    new = job_card(order=order, at=LATER)
    state = card_state(order=order, revision=1, digest=old.digest[:12])
    assert not state.current
    assert "superseded by revision 2" in state.words
    assert card_state(order=order, revision=2, digest=new.digest[:12]).current


def test_a_correction_taken_back_is_a_third_card_not_the_first(technician):
    order = make_checked_in(corners=["rear_right"])
    first = job_card(order=order, at=NOON)
    correct_clicks(order, technician, "9")
    job_card(order=order, at=LATER)
    correct_clicks(order, technician, "7")
    third = job_card(order=order, at=LATER)
    assert (third.digest, third.revision) == (first.digest, 3)
    assert "card revision 3" in pages(third.pdf)[0]
    assert not card_state(order=order, revision=1, digest=first.digest[:12]).current


@pytest.mark.parametrize(("revision", "digest"), [(2, None), (1, "000000000000"), (99999, "abc"), (1, "é_%")])
def test_a_code_that_was_never_printed_is_no_card(revision, digest):
    order = make_checked_in(corners=["rear_right"])
    paper = job_card(order=order, at=NOON)
    state = card_state(order=order, revision=revision, digest=digest or paper.digest[:12])
    assert not state.current
    assert "No card revision" in state.words


def test_a_card_of_another_order_is_no_card_of_this_one():
    model = make_family()
    one, other = make_checked_in(model=model, loose=1), make_checked_in(model=model, loose=1)
    paper = job_card(order=one, at=NOON)
    job_card(order=other, at=NOON)
    assert not card_state(order=other, revision=1, digest=paper.digest[:12]).current


def test_nothing_half_written_is_ever_kept(store, monkeypatch):
    order = make_checked_in(corners=["rear_right"])

    def full_disk(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    assert job_card(order=order, at=NOON).pdf.startswith(b"%PDF")
    assert list(store.iterdir()) == []


def test_a_card_whose_sheet_was_withdrawn_says_stop_when_it_is_scanned(manager):
    order = make_checked_in(corners=["rear_right"])
    paper = job_card(order=order, at=NOON)
    scanned = {"order": order, "revision": 1, "digest": paper.digest[:DIGITS_IN_QR]}
    assert card_state(**scanned).current
    sheet = SpecSheet.objects.get(code=order.jobs.get().sheet.code)
    withdraw_sheet(sheet=sheet, why="wrong torque", by=manager, at=NOON)
    state = card_state(**scanned)
    assert not state.current
    assert state.words.startswith(f"Stop at damper {order.jobs.get().tag}, rear right. The spec table has changed")


@pytest.mark.parametrize("digits", [0, 1, 11, 13])
def test_a_code_of_another_length_is_no_card(digits):
    order = make_checked_in(corners=["rear_right"])
    digest = job_card(order=order, at=NOON).digest[:digits]
    assert not card_state(order=order, revision=1, digest=digest).current


def test_an_amount_of_oil_from_a_draft_prints_as_draft_on_card_and_pick_list():
    model = factories.make_damper_model()
    factories.make_sheet(model, status="draft")
    stock_kit(model)
    order = make_checked_in(model=model, corners=["rear_right"])
    for paper in (job_card(order=order, at=NOON), pick_list_paper(order=order, at=NOON)):
        assert "336 mL DRAFT" in " ".join(pages(paper.pdf))
