"""The paper and the text of an order to a supplier."""

from io import BytesIO

import pytest
from pypdf import PdfReader

from shop.documents.services import purchase_paper, purchase_text
from shop.parts.services import call_off_rest, set_line
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def order(desk):
    supplier = make.make_supplier(name="Ferrisgate & Sons <Supply>", account_number="LG-2207", address="3 Gate\nHollow")
    oil = make.make_part("TARN-5", name="damper oil Tarn No. 5", measure="volume")
    bottle = make.make_container(oil, 1_000_000, name="1 L bottle")
    ring = make.make_part("O-9", name="O-ring 9 × 2")
    items = [
        make.make_item(oil, supplier, container=bottle, price="21.50", their_number="T5-1"),
        make.make_item(ring, supplier, price="0.0850"),
        make.make_item(make.make_part("B-1", name="bushing"), supplier, price=None),
    ]
    return make.make_purchase(*[(item, units) for item, units in zip(items, (6, 33, 1), strict=True)], by=desk)


def read(paper):
    return " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(paper.pdf)).pages).split())


def test_the_paper_tells_what_is_ordered_and_its_lines_add_up(order):
    paper = purchase_paper(order=order)
    told = read(paper)
    assert paper.filename == f"{order.number}.pdf"
    for words in (
        order.number, "Ferrisgate & Sons <Supply>", "our account LG-2207", "T5-1", "1 L bottle of 1000 mL",
        "expected by Wednesday 2 December 2026", "129.00",
    ):  # fmt: skip
        assert words in told
    # 33 × 0.085 = 2.805, half up to the cent: 2.81
    assert "0.085" in told
    assert "2.81" in told
    assert "Sum, without 1 line that has no price yet; tax and postage as agreed 131.81" in told
    assert "DRAFT" not in told


def test_a_draft_and_an_order_that_was_called_off_say_so(order, desk):
    draft = make.make_purchase((order.lines.first().item, 1), sent=False)
    assert "DRAFT" in read(purchase_paper(order=draft))
    assert "(DRAFT: nothing is ordered yet)" in purchase_text(order=draft)
    call_off_rest(order=order, why="not needed", by=desk, at=NOON)
    assert "Called off." in read(purchase_paper(order=order))
    assert "called off" in purchase_text(order=order)


def test_a_paper_changes_with_what_it_says_and_with_nothing_else(order, desk):
    first = purchase_paper(order=order)
    assert purchase_paper(order=order).digest == first.digest
    line = order.lines.first()
    set_line(order=order, item=line.item, units=5, price=line.price, why="they said so", by=desk, at=NOON)
    assert purchase_paper(order=order).digest != first.digest


def test_the_text_says_the_same_in_lines_that_a_mail_program_does_not_break(order):
    text = purchase_text(order=order)
    assert "- 6 × 1 L bottle of 1000 mL: T5-1, damper oil Tarn No. 5 (our TARN-5)" in text
    assert "Sum 131.81 USD, without the lines that have no price yet" in text
    assert "Ferrisgate & Sons <Supply>" in text
    assert max(map(len, text.splitlines())) <= 78
