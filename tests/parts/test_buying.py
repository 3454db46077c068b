"""Purchase orders: what comes is on hand, once, and never more than ordered without a reason."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.core.errors import Conflict
from shop.core.services import once
from shop.parts.models import Movement, PurchaseOrder, PurchaseStatus, Receipt, ReceiptLine
from shop.parts.selectors import stock_of
from shop.parts.services import (
    Arrived,
    Wanted,
    call_off_rest,
    correct,
    correct_receipt,
    receive_delivery,
    send_order,
    set_line,
    start_order,
)
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

SOON = date(2026, 12, 2)


@pytest.fixture
def kits(db):
    """Twelve seal kits on their way."""
    part = make.make_part("KIT-1", on_hand=1)
    return make.make_purchase((make.make_item(part, price="18.50"), 12))


def came(order, units, by, note="8817", **more):
    line = order.lines.get()
    return receive_delivery(order=order, delivery_note=note, arrived=[Arrived(line, units, **more)], by=by, at=NOON)


def on_hand(order):
    part = order.lines.get().part
    return stock_of([part])[part.pk].on_hand


def fresh(order):
    return PurchaseOrder.objects.get(pk=order.pk)


def told(order):
    return [one.what for one in AuditEntry.objects.filter(kind="purchase", key=str(order.pk)).order_by("pk")]


@pytest.mark.flow
def test_an_order_is_drafted_sent_and_received_in_two_parts(desk):
    oil = make.make_part("TARN-5", name="Tarn No. 5", measure="volume")
    bottle = make.make_container(oil, 1_000_000, name="1 L bottle")
    item = make.make_item(oil, container=bottle, price="21.50")
    order = start_order(supplier=item.supplier, wanted=[Wanted(item, 6)], by=desk, at=NOON)
    assert (order.status, order.lines.get().net) == ("draft", Decimal("129.00"))
    order = send_order(order=order, how="email", expected_on=SOON, by=desk, at=NOON)
    assert order.status == "sent"
    came(order, 4, desk)
    assert fresh(order).status == "in_part"
    shelf = stock_of([oil])[oil.pk]
    assert (shelf.on_hand, shelf.containers[0].full) == (4_000_000, 4)
    came(order, 2, desk, note="8820", price=Decimal("22.00"))
    order = fresh(order)
    assert (order.status, order.ended_at) == ("closed", NOON)
    assert on_hand(order) == 6_000_000
    assert told(order) == [
        f"drafted for {item.supplier}: 6 × TARN-5 Tarn No. 5, 1 L bottle",
        "sent by e-mail, delivery expected on 2 December 2026",
        "delivery note 8817: 4 × TARN-5 Tarn No. 5, 1 L bottle",
        "delivery note 8820: 2 × TARN-5 Tarn No. 5, 1 L bottle, paid 22.00 for one, agreed 21.50",
    ]
    assert Movement.objects.first().reason == f"{order}, delivery note 8817"


def test_a_draft_takes_the_price_of_the_day_and_numbers_only_go_up(desk):
    item = make.make_item(price="8.00")
    orders = [make.make_purchase((item, 1), sent=False, by=desk) for _ in range(3)]
    assert [one.lines.get().price for one in orders] == [Decimal("8.00")] * 3
    numbers = [int(one.number.rpartition("P")[2]) for one in orders]
    assert numbers == sorted(set(numbers))


@pytest.mark.parametrize(("units", "told_"), [(15, "Give 10 or 20"), (3, "Give 10"), (0, "0 cannot be"), (10, "20 of")])
def test_what_they_do_not_send_is_not_ordered(desk, units, told_):
    item = make.make_item(pack=10, minimum=20)
    with pytest.raises(ValidationError, match=told_):
        start_order(supplier=item.supplier, wanted=[Wanted(item, units)], by=desk, at=NOON)
    assert not PurchaseOrder.objects.exists()


def test_an_order_names_each_thing_once_and_only_what_its_supplier_sells(desk):
    item, stranger = make.make_item(), make.make_item()
    for wanted, words in [
        ([], "Nothing is chosen"),
        ([Wanted(item, 1), Wanted(item, 2)], "twice"),
        ([Wanted(stranger, 1)], "does not sell"),
    ]:
        with pytest.raises(ValidationError, match=words):
            start_order(supplier=item.supplier, wanted=wanted, by=desk, at=NOON)


def test_more_than_is_still_to_come_asks_and_is_kept_only_with_a_reason(kits, desk):
    came(kits, 8, desk)
    with pytest.raises(ValidationError) as refused:
        came(kits, 6, desk, note="8820")
    line = kits.lines.get()
    assert refused.value.message_dict == {
        f"units_{line.pk}": [
            f"12 of {line.item} were ordered, 8 came before: 4 still to come, not 6. "
            "Count again. To keep more than was ordered, say why."
        ]
    }
    assert (on_hand(kits), fresh(kits).status) == (9, "in_part")
    came(kits, 6, desk, note="8820", why="sent as a gift")
    assert (on_hand(kits), fresh(kits).status) == (15, "closed")
    assert told(kits)[-1].endswith("2 more than ordered: sent as a gift")


def test_a_delivery_note_is_entered_once_and_the_second_is_told_who_did(kits, desk, manager):
    came(kits, 4, desk, note="Note 8817")
    with pytest.raises(Conflict) as refused:
        came(kits, 4, manager, note=" note  8817")
    assert f"was entered by {desk} already: 4 × " in refused.value.messages[0]
    assert on_hand(kits) == 5


@pytest.mark.django_db(transaction=True)
def test_two_people_entering_one_delivery_at_once_put_it_on_the_shelf_once():
    order = make.make_purchase((make.make_item(make.make_part()), 12))
    by = [make.make_user("desk"), make.make_user("desk")]
    outcomes = at_once(lambda: came(order, 8, by[0]), lambda: came(order, 8, by[1]))
    assert sum(isinstance(one, Receipt) for one in outcomes) == 1, outcomes
    assert sum(isinstance(one, Conflict) for one in outcomes) == 1, outcomes
    assert on_hand(order) == 8


@pytest.mark.django_db(transaction=True)
def test_one_person_sending_a_delivery_twice_under_one_key_enters_it_once():
    order, by = make.make_purchase((make.make_item(make.make_part()), 12)), make.make_user("desk")

    def keyed():
        return once(scope="s", key="k", content=[8], at=NOON, make=lambda: came(order, 8, by))

    first, second = at_once(keyed, keyed)
    assert first == second
    assert on_hand(order) == 8


@pytest.mark.django_db(transaction=True)
def test_two_deliveries_at_once_never_bring_more_than_was_ordered_silently():
    order, by = make.make_purchase((make.make_item(make.make_part()), 12)), make.make_user("desk")
    outcomes = at_once(lambda: came(order, 8, by, note="1"), lambda: came(order, 8, by, note="2"))
    refused = [one for one in outcomes if isinstance(one, ValidationError)]
    assert len(refused) == 1, outcomes
    assert "4 still to come, not 8" in str(refused[0])
    assert on_hand(order) == 8


@pytest.mark.django_db(transaction=True)
def test_a_delivery_and_a_call_off_at_once_leave_an_order_that_adds_up():
    order, by = make.make_purchase((make.make_item(make.make_part()), 12)), make.make_user("desk")
    outcomes = at_once(lambda: came(order, 8, by), lambda: call_off_rest(order=order, why="not needed", by=by, at=NOON))
    order, line = fresh(order), order.lines.get()
    if isinstance(outcomes[0], Conflict):
        assert (order.status, on_hand(order), line.called_off) == ("called_off", 0, 12)
    else:
        assert (order.status, on_hand(order), line.called_off) == ("closed", 8, 4)


@pytest.mark.django_db(transaction=True)
def test_deliveries_of_two_orders_with_the_same_parts_in_turn_do_not_wait_for_each_other_forever():
    supplier = make.make_supplier()
    items = [make.make_item(make.make_part(), supplier) for _ in range(4)]
    orders = [make.make_purchase(*[(one, 5) for one in row]) for row in (items, items[::-1])]
    by = make.make_user("desk")

    def all_of(order):
        arrived = [Arrived(line, 5) for line in order.lines.all()]
        return lambda: receive_delivery(order=order, delivery_note="1", arrived=arrived, by=by, at=NOON)

    outcomes = at_once(*[all_of(one) for one in orders])
    assert not [one for one in outcomes if isinstance(one, Exception)]
    assert {stock_of([one.part])[one.part_id].on_hand for one in items} == {10}


def test_a_refused_line_puts_nothing_on_the_shelf(desk):
    supplier = make.make_supplier()
    first, second = (make.make_item(make.make_part(), supplier) for _ in range(2))
    order = make.make_purchase((first, 5), (second, 5))
    arrived = [Arrived(line, units) for line, units in zip(order.lines.all(), (5, 6), strict=True)]
    with pytest.raises(ValidationError):
        receive_delivery(order=order, delivery_note="1", arrived=arrived, by=desk, at=NOON)
    assert not Movement.objects.exists()
    assert not Receipt.objects.exists()


def test_nothing_is_received_of_a_draft_without_a_note_or_of_nothing(kits, desk):
    draft = make.make_purchase((make.make_item(), 1), sent=False)
    with pytest.raises(Conflict, match="is draft"):
        came(draft, 1, desk)
    with pytest.raises(ValidationError, match="delivery note"):
        came(kits, 1, desk, note=" ")
    with pytest.raises(ValidationError, match="Nothing is entered"):
        came(kits, 0, desk)
    other = make.make_purchase((make.make_item(), 1))
    with pytest.raises(ValidationError, match="is no line of"):
        receive_delivery(order=kits, delivery_note="1", arrived=[Arrived(other.lines.get(), 1)], by=desk, at=NOON)


def test_an_order_is_sent_once_for_a_day_that_is_to_come(desk):
    order = make.make_purchase((make.make_item(), 1), sent=False)
    for day in (date(2026, 11, 24), date(2029, 1, 1)):
        with pytest.raises(ValidationError, match="Give"):
            send_order(order=order, how="email", expected_on=day, by=desk, at=NOON)
    with pytest.raises(ValidationError, match="none of"):
        send_order(order=order, how="pigeon", expected_on=SOON, by=desk, at=NOON)
    send_order(order=order, how="phone", expected_on=SOON, by=desk, at=NOON)
    with pytest.raises(Conflict, match=f"It was sent on 25 November 2026 by {desk}"):
        send_order(order=order, how="phone", expected_on=SOON, by=desk, at=NOON)


def test_a_line_of_a_sent_order_changes_with_a_reason_and_never_below_what_came(kits, desk):
    line = kits.lines.get()
    change = {"order": kits, "item": line.item, "by": desk, "at": NOON, "price": Decimal("18.50")}
    with pytest.raises(ValidationError, match="Say why it changes"):
        set_line(**change, units=10)
    came(kits, 8, desk)
    with pytest.raises(ValidationError, match="came already"):
        set_line(**change, units=7, why="they called")
    late = SOON + timedelta(days=5)
    set_line(**change, units=10, expected_on=late, why="two are out of stock")
    line = kits.lines.get()
    assert (line.units, line.to_come, line.due_on) == (10, 2, late)
    assert told(kits)[-1] == f"{line.item}: ordered: 10, expected: 2026-12-07 (two are out of stock)"
    set_line(**change, units=8, expected_on=late, why="they do not make it any more")
    assert fresh(kits).status == "closed"
    with pytest.raises(Conflict, match="not changed any more"):
        set_line(**change, units=12, why="again")


def test_a_line_of_a_draft_changes_freely_and_its_last_one_stays(desk):
    item = make.make_item()
    order = make.make_purchase((item, 2), sent=False)
    more = make.make_item(make.make_part(), item.supplier)
    set_line(order=order, item=more, units=3, by=desk, at=NOON)
    set_line(order=order, item=item, units=0, by=desk, at=NOON)
    assert [(one.item, one.units) for one in order.lines.all()] == [(more, 3)]
    with pytest.raises(ValidationError, match="only line"):
        set_line(order=order, item=more, units=0, by=desk, at=NOON)


def test_the_rest_is_called_off_with_a_reason(kits, desk):
    came(kits, 8, desk)
    with pytest.raises(ValidationError, match="Say why"):
        call_off_rest(order=kits, why="", by=desk, at=NOON)
    for _ in range(2):
        order = call_off_rest(order=kits, why="they cannot deliver", by=desk, at=NOON)
    assert (order.status, order.lines.get().called_off) == ("closed", 4)
    other = make.make_purchase((make.make_item(), 3))
    assert call_off_rest(order=other, why="not needed", by=desk, at=NOON).status == "called_off"


def test_what_was_written_wrongly_is_put_right_by_a_row_of_its_own(kits, desk, manager):
    received = came(kits, 12, desk).lines.get()
    row = correct_receipt(received=received, units=2, why="12 misread", by=manager, at=NOON)
    assert (row.units, row.movement.amount, on_hand(kits)) == (-10, -10, 3)
    order = fresh(kits)
    assert (order.status, order.ended_at, order.lines.get().to_come) == ("in_part", None, 10)
    with pytest.raises(Conflict, match="corrected already"):
        correct_receipt(received=received, units=1, why="again", by=manager, at=NOON)
    for units in (-1, 12):
        with pytest.raises(ValidationError):
            correct_receipt(received=received, units=units, why="x", by=manager, at=NOON)


def test_what_a_delivery_brought_is_corrected_on_its_order_alone_so_that_the_order_waits_for_the_rest(kits, desk):
    received = came(kits, 12, desk).lines.get()
    with pytest.raises(ValidationError, match=r"delivery note 8817\. Correct it on the page of"):
        correct(movement=received.movement, right=2, reason="12 misread", by=desk, at=NOON)
    assert (on_hand(kits), fresh(kits).status) == (13, "closed")


def test_what_is_held_is_not_taken_back_by_a_correction(kits, desk):
    received = came(kits, 12, desk).lines.get()
    make.make_pick_list(received.line.part, 10)
    with pytest.raises(ValidationError) as refused:
        correct_receipt(received=received, units=2, why="misread", by=desk, at=NOON)
    assert "is held" in refused.value.message_dict["units"][0]
    assert on_hand(kits) == 13


steps = st.one_of(
    st.tuples(st.just("receive"), st.integers(0, 9), st.integers(0, 15), st.booleans()),
    st.tuples(st.just("correct"), st.integers(0, 20), st.integers(0, 12), st.just(True)),
    st.tuples(st.just("change"), st.integers(0, 20), st.just(0), st.booleans()),
    st.tuples(st.just("call off"), st.just(0), st.just(0), st.just(True)),
)


@pytest.mark.flow
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(steps, max_size=12))
def test_whatever_is_done_what_came_is_what_moved_and_never_more_than_ordered_silently(db, script):
    """Any order of deliveries, corrections, changes and calling off."""
    by = make.make_user("desk")
    order = make.make_purchase((make.make_item(make.make_part()), 10), by=by)
    for what, first, second, has_reason in script:
        line = order.lines.get()
        try:
            if what == "receive":
                came(order, second, by, note=f"n{first}", why="more" if has_reason else "")
            elif what == "correct" and (rows := list(ReceiptLine.objects.filter(line=line))):
                correct_receipt(received=rows[first % len(rows)], units=second, why="misread", by=by, at=NOON)
            elif what == "change":
                why = "they said so" if has_reason else ""
                set_line(order=order, item=line.item, units=first, why=why, by=by, at=NOON)
            elif what == "call off":
                call_off_rest(order=order, why="enough", by=by, at=NOON)
        except ValidationError:
            pass
        line, now = order.lines.get(), fresh(order)
        moved = Movement.objects.filter(part=line.part).aggregate(all=Sum("amount", default=0))["all"]
        assert moved == line.received == on_hand(order) >= 0
        extra = line.receipt_lines.exclude(why="").exists()
        assert line.received <= line.units or extra
        assert line.called_off <= line.units
        over = now.status in (PurchaseStatus.CLOSED, PurchaseStatus.CALLED_OFF)
        assert over is (line.to_come == 0)
        assert over is (now.ended_at is not None)
