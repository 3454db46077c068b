"""Parts gathered for many orders at once, by scan, by row, by two people."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.errors import Conflict
from shop.picklists.models import PickLine
from shop.workorders.day_picks import day_picks, orders_to_gather, picked_in_words
from shop.workorders.models import WorkOrder
from shop.workorders.services import (
    call_off,
    check_in,
    pick_everywhere,
    pick_line,
    pick_scanned,
    put_back_last,
)
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once, queued_behind

pytestmark = pytest.mark.django_db
TODAY = NOON.date()


@pytest.fixture
def model():
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-20", name="seal kit")
    return model


def order_of(model, dampers=2, days=2, **given):
    customer = make.make_customer()
    made = [make.make_damper(model=model, customer=customer) for _ in range(dampers)]
    return make.make_order(dampers=made, promised_for=NOON + timedelta(days=days), **given)


def scanned(code, *orders, by, at=NOON):
    return pick_scanned(code=code, orders=orders, by=by, at=at)


@pytest.mark.flow
def test_a_scan_fills_the_next_bag_of_the_earliest_promise_and_says_so(model, desk):
    make.make_part("SK-20", on_hand=9)
    late, early = order_of(model, days=5), order_of(model, days=1)
    orders = list(orders_to_gather(TODAY, today=TODAY))
    assert orders == [early, late]
    said = [picked_in_words(scanned("sk-20", *orders, by=desk), orders) for _ in range(4)]
    tags = [job.tag for one in (early, late) for job in one.jobs.order_by("index")]
    assert said == [
        f"SK-20: 1 into bag {tags[0]}, loose; 3 more to go.",
        f"SK-20: 1 into bag {tags[1]}, loose; 2 more to go.",
        f"SK-20: 1 into bag {tags[2]}, loose; 1 more to go.",
        f"SK-20: 1 into bag {tags[3]}, loose; that was the last one.",
    ]
    with pytest.raises(Conflict, match=r"every bag has it, 4 of 4"):
        scanned("SK-20", *orders, by=desk)


def test_what_is_on_no_list_is_refused_with_the_number(model, desk):
    order = order_of(model)
    with pytest.raises(ValidationError, match=r"“XX-9” is on none of these pick lists"):
        scanned("XX-9", order, by=desk)
    with pytest.raises(ValidationError, match="Nothing was scanned"):
        scanned(" \x1d", order, by=desk)


def test_a_bag_that_is_short_is_passed_over_and_told_when_no_other_is_left(model, desk):
    make.make_part("SK-20", on_hand=1)
    order = order_of(model, dampers=2)
    assert scanned("SK-20", order, by=desk).tag == order.jobs.get(index=1).tag
    with pytest.raises(Conflict, match=rf"SK-20 is short for {order.jobs.get(index=2).tag}"):
        scanned("SK-20", order, by=desk)


def test_an_alternate_is_told_apart_from_an_unknown_number(model, desk):
    make.make_alternate(model.kit_lines.get(), "SK-21")
    make.make_part("SK-21", on_hand=2)
    order = order_of(model, dampers=1)
    with pytest.raises(ValidationError, match="SK-21 may be taken in the place of SK-20"):
        scanned("SK-21", order, by=desk)


def test_the_code_of_a_bag_tells_what_it_waits_for(model, desk):
    make.make_part("SK-20", on_hand=2)
    order = order_of(model, dampers=1)
    job = order.jobs.get()
    with pytest.raises(ValidationError, match=rf"That is bag {job.tag}, loose: it still waits for SK-20"):
        scanned(f"http://127.0.0.1/bench/{job.pk}/", order, by=desk)
    scanned("SK-20", order, by=desk)
    with pytest.raises(ValidationError, match="everything on the list lies in it"):
        scanned(job.tag, order, by=desk)


def test_a_row_is_picked_for_every_running_order_and_one_called_off_meanwhile_is_passed_over(model, desk):
    make.make_part("SK-20", on_hand=9)
    kept, gone = order_of(model), order_of(model)
    call_off(order=gone, why="sold", by=desk, at=NOON)
    pick_everywhere(part_number="SK-20", orders=[gone, kept], by=desk, at=NOON)
    assert set(PickLine.objects.filter(picked_by=desk).values_list("pick_list", flat=True)) == {kept.pick_list_id}
    with pytest.raises(Conflict, match="Somebody else was first"):
        pick_everywhere(part_number="SK-20", orders=[kept], by=desk, at=NOON)


def test_the_last_pick_is_put_back_but_not_another_persons(model, desk, technician):
    make.make_part("SK-20", on_hand=9)
    order = order_of(model, dampers=1)
    line = scanned("SK-20", order, by=desk)
    assert day_picks(TODAY, today=TODAY, by=desk).last == line
    put_back_last(line=line, by=desk, at=NOON)
    put_back_last(line=line, by=desk, at=NOON)
    assert order.pick_list.lines.get().picked_at is None
    pick_line(line=line, by=technician, at=NOON)
    with pytest.raises(Conflict, match="has picked SK-20"):
        put_back_last(line=line, by=desk, at=NOON)


def test_the_days_orders_are_those_that_arrive_by_then_or_stand_on_the_benches_and_still_wait(model, desk):
    make.make_part("SK-20", on_hand=9)
    today, tomorrow = order_of(model), order_of(model, arrives_on=TODAY + timedelta(days=1))
    bench, off = order_of(model, arrives_on=TODAY + timedelta(days=9), days=12), order_of(model)
    check_in(order=bench, meters=[], as_found=[], by=desk, at=NOON)
    call_off(order=off, why="sold", by=desk, at=NOON)

    def found(day, today=TODAY):
        return set(orders_to_gather(day, today=today))

    assert found(TODAY) == {today, bench}
    assert found(TODAY + timedelta(days=1)) == {today, bench, tomorrow}
    pick_everywhere(part_number="SK-20", orders=[today], by=desk, at=NOON)
    assert found(TODAY) == {today, bench}
    assert found(TODAY, today=date(2026, 11, 26)) == {bench}
    assert [one.pk for one in day_picks(TODAY, today=TODAY, without=[today.pk]).orders] == [bench.pk]


def test_promises_at_risk_are_named_with_their_parts(model, desk):
    order = order_of(model)
    (risk,) = day_picks(TODAY, today=TODAY).at_risk
    assert (risk.order, risk.part_numbers) == (order, ["SK-20"])


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("bags", [1, 2])
def test_of_two_who_scan_the_same_part_at_once_each_fills_another_bag_or_is_told(bags):
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-20", name="seal kit")
    make.make_part("SK-20", on_hand=9)
    orders = [order_of(model, dampers=1) for _ in range(bags)]
    people = [make.make_user("desk"), make.make_user("technician")]
    for _ in range(4):
        PickLine.objects.update(picked_at=None, picked_by=None)
        found = at_once(*[lambda one=one: scanned("SK-20", *orders, by=one) for one in people])
        lines = [one for one in found if isinstance(one, PickLine)]
        assert len({line.pk for line in lines}) == len(lines) == bags, found
        assert all(isinstance(one, Conflict) for one in found if one not in lines)
        assert PickLine.objects.filter(picked_at__isnull=False).count() == bags


@pytest.mark.django_db(transaction=True)
def test_a_row_and_scans_over_many_orders_at_once_do_not_block_each_other():
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-20", name="seal kit")
    make.make_part("SK-20", on_hand=20)
    orders = [order_of(model, dampers=1, days=days) for days in (5, 4, 3, 2)]
    user, other = make.make_user("desk"), make.make_user("technician")
    by_promise = list(WorkOrder.objects.order_by("promised_for"))
    found = at_once(
        lambda: pick_everywhere(part_number="SK-20", orders=orders, by=user, at=NOON),
        *[lambda: scanned("SK-20", *by_promise, by=other) for _ in range(3)],
    )
    assert all(isinstance(one, PickLine | Conflict) for one in found), found
    assert not PickLine.objects.filter(picked_at=None).exists()


@pytest.mark.django_db(transaction=True)
def test_orders_are_locked_by_their_keys_as_by_who_holds_what_came_in():
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-20", name="seal kit")
    make.make_part("SK-20", on_hand=9)
    first, promised_before = order_of(model, days=9), order_of(model, days=2)
    user = make.make_user("desk")
    with transaction.atomic():
        WorkOrder.objects.select_for_update(of=("self",)).get(pk=first.pk)
        picked = queued_behind(
            lambda: pick_everywhere(part_number="SK-20", orders=[promised_before, first], by=user, at=NOON)
        )
        # Whoever has the first is given the second: nobody waits in a circle.
        WorkOrder.objects.select_for_update(of=("self",), nowait=True).get(pk=promised_before.pk)
    assert picked.result(timeout=30).picked_by == user
