"""What an inspection adds to a damper's bag, and what is taken in the place of a part that is short."""

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.parts.models import Movement, MovementKind
from shop.parts.selectors import stock_of
from shop.picklists.selectors import pick_sheet
from shop.specs.parts_lists import as_seen
from shop.specs.services import add_kit_line, change_kit_line, remove_kit_line
from shop.staff.models import AuditEntry
from shop.workorders.kit import parts_changed
from shop.workorders.models import JobStatus, OrderStatus, WorkOrder
from shop.workorders.services import (
    call_off,
    change_damper,
    check_in,
    close_order,
    hold_parts,
    pick_line,
    put_back_line,
    swap_line,
    swap_part,
    take_back_part,
    take_up_part,
)
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db


class Family:
    """A damper model with a seal kit, its second number and a shaft that only the inspection asks for."""

    def __init__(self, kits=0, seconds=2, shafts=1):
        self.model = make.make_damper_model()
        self.kit = make.make_part("SK-1", on_hand=kits, name="seal kit")
        self.second = make.make_part("SK-2", on_hand=seconds, name="seal kit, second number")
        self.shaft = make.make_part("SH-1", on_hand=shafts, name="shaft")
        self.kit_line = make.make_kit_line(self.model, "SK-1")
        self.second_line = make.make_alternate(self.kit_line, "SK-2", name="seal kit, second number")
        self.shaft_line = make.make_kit_line(self.model, "SH-1", name="shaft", optional=True)

    def order(self, dampers=1, **given):
        customer = make.make_customer()
        return make.make_order(
            dampers=[make.make_damper(model=self.model, customer=customer) for _ in range(dampers)], **given
        )


def held(part):
    return stock_of([part])[part.pk].held


def lines(order):
    return set(order.pick_list.lines.values_list("part_number", "amount"))


def come_in(order, by):
    return check_in(order=order, meters=[], as_found=[], by=by, at=NOON)


# --- optional parts ---------------------------------------------------------------------------------------------------


def test_an_optional_part_is_offered_and_neither_picked_nor_held(desk):
    family = Family(kits=1)
    order = family.order(by=desk)
    come_in(order, desk)
    order.refresh_from_db()
    assert lines(order) == {("SK-1", 1)}
    assert held(family.shaft) == 0
    tag = order.jobs.get().tag
    assert [(one.tag, one.part_number, one.amount) for one in order.pick_list.offered()] == [(tag, "SH-1", 1)]


def test_taken_up_it_is_held_and_stays_when_the_list_is_filled_anew(desk, technician, manager):
    family = Family(kits=1)
    order = family.order(by=desk)
    job = order.jobs.get()
    take_up_part(job=job, part_number="SH-1", by=technician, at=NOON)
    assert held(family.shaft) == 1
    remove_kit_line(line=family.shaft_line, by=manager, at=NOON)
    hold_parts(order=order, by=desk, at=NOON)
    come_in(order, desk)
    hold_parts(order=order, by=desk, at=NOON)
    assert lines(order) == {("SK-1", 1), ("SH-1", 1)}
    assert held(family.shaft) == 1
    line = order.pick_list.lines.get(part_number="SH-1")
    assert (line.taken_up_by, line.part) == (technician, family.shaft)
    assert AuditEntry.objects.filter(kind="order", what=f"taken up for {job.tag}: SH-1 shaft, 1").count() == 1


def test_the_amount_may_be_another_and_may_be_changed(technician):
    family = Family(shafts=3)
    order = family.order()
    job = order.jobs.get()
    for amount in (2, 3, 1):
        take_up_part(job=job, part_number="SH-1", amount=amount, by=technician, at=NOON)
        assert ("SH-1", amount) in lines(order)
        assert held(family.shaft) == amount


def test_what_is_not_on_the_shelf_is_taken_up_short(technician):
    family = Family(shafts=0)
    order = family.order()
    line = take_up_part(job=order.jobs.get(), part_number="SH-1", by=technician, at=NOON)
    assert line.short == 1


def test_taken_back_nothing_of_it_is_left(technician):
    family = Family()
    order = family.order()
    job = order.jobs.get()
    take_up_part(job=job, part_number="SH-1", by=technician, at=NOON)
    for _ in range(2):
        take_back_part(job=job, part_number="SH-1", by=technician, at=NOON)
    assert lines(order) == {("SK-1", 1)}
    assert held(family.shaft) == 0
    assert AuditEntry.objects.filter(kind="order", what__startswith="taken back").count() == 1


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"part_number": "SK-1"}, "part_number", "SK-1 is no optional part for damper"),
        ({"part_number": "X"}, "part_number", "Choose one that its parts list offers"),
        ({"amount": 0}, "amount", "0 cannot be taken up"),
        ({"amount": 10**6 + 1}, "amount", "at most 1000000"),
    ],
)
def test_what_cannot_be_taken_up_is_refused(technician, given, field, told):
    order = Family().order()
    with pytest.raises(ValidationError, match=told) as refusal:
        take_up_part(job=order.jobs.get(), **{"part_number": "SH-1"} | given, by=technician, at=NOON)
    assert set(refusal.value.message_dict) == {field}
    assert lines(order) == {("SK-1", 1)}


def test_nothing_is_taken_up_for_a_closed_damper_or_an_order_that_is_over(desk, technician):
    family = Family()
    order = family.order(by=desk)
    come_in(order, desk)
    job = order.jobs.get()
    job.status, job.closed_by, job.closed_at = JobStatus.CLOSED, technician, NOON
    job.save()
    with pytest.raises(Conflict, match="is closed: its bag stays as it is"):
        take_up_part(job=job, part_number="SH-1", by=technician, at=NOON)
    other = family.order(by=desk)
    call_off(order=other, why="sold", by=desk, at=NOON)
    with pytest.raises(Conflict, match="parts are picked for an order that is booked or on the benches"):
        take_up_part(job=other.jobs.get(), part_number="SH-1", by=technician, at=NOON)


def test_a_damper_that_turns_out_to_be_another_model_keeps_nothing_that_was_taken_up_for_the_first(desk, technician):
    family = Family()
    order = family.order(by=desk)
    job = order.jobs.get()
    take_up_part(job=job, part_number="SH-1", by=technician, at=NOON)
    other = make.make_damper_model()
    change_damper(damper=job.damper, model=other, model_year=2015, position="", by=desk, at=NOON)
    assert lines(order) == set()
    assert held(family.shaft) == 0


def test_what_the_parts_list_itself_asks_for_by_then_is_needed_once(desk, technician, manager):
    family = Family(shafts=2)
    order = family.order(by=desk)
    take_up_part(job=order.jobs.get(), part_number="SH-1", by=technician, at=NOON)
    line = family.shaft_line
    line.optional = False
    line.save()
    come_in(order, desk)
    assert lines(order) == {("SK-1", 1), ("SH-1", 1)}
    assert order.pick_list.lines.get(part_number="SH-1").taken_up_at is None


@pytest.mark.django_db(transaction=True)
def test_of_two_who_take_up_the_last_shaft_one_holds_it():
    family, user = Family(), make.make_user("technician")
    jobs = [family.order().jobs.get() for _ in range(2)]
    at_once(*[lambda job=job: take_up_part(job=job, part_number="SH-1", by=user, at=NOON) for job in jobs])
    assert sorted(line.held for job in jobs for line in job.order.pick_list.lines.filter(part_number="SH-1")) == [0, 1]
    assert held(family.shaft) == 1


# --- in the place of another ------------------------------------------------------------------------------------------


def test_a_short_part_stays_on_the_list_which_says_what_is_on_hand_instead():
    family = Family()
    order = family.order()
    (row,) = pick_sheet(order.pick_list).rows
    assert (row.part_number, row.short) == ("SK-1", 1)
    assert [(one.part_number, one.free, one.enough) for one in row.on_hand_instead] == [("SK-2", 2, True)]
    assert held(family.second) == 0


def test_what_is_there_needs_no_alternate():
    (row,) = pick_sheet(Family(kits=1).order().pick_list).rows
    assert row.alternates == []


def test_the_alternate_that_is_chosen_is_held_picked_and_booked(desk, technician):
    family = Family()
    order = family.order(by=desk)
    come_in(order, desk)
    swap_part(order=order, part_number="SK-1", instead="SK-2", by=technician, at=NOON)
    line = order.pick_list.lines.get()
    assert (line.part_number, line.instead_of, line.held) == ("SK-2", "SK-1", 1)
    assert (held(family.kit), held(family.second)) == (0, 1)
    assert AuditEntry.objects.filter(kind="order", what=f"SK-2 is taken instead of SK-1 for {line.tag}").exists()
    make.make_movement(family.kit, 5)
    hold_parts(order=order, by=desk, at=NOON)  # what was chosen stays chosen
    pick_line(line=line, by=technician, at=NOON)
    job = order.jobs.get()
    job.status, job.closed_by, job.closed_at = JobStatus.CLOSED, technician, NOON
    job.save()
    close_order(order=order, used=[], by=technician, at=NOON)
    issued = Movement.objects.filter(kind=MovementKind.ISSUED).values_list("part__number", "amount")
    assert list(issued) == [("SK-2", -1)]


def test_a_choice_survives_filling_anew_while_the_parts_list_names_it(desk, technician, manager):
    family = Family()
    order = family.order(by=desk)
    swap_part(order=order, part_number="SK-1", instead="SK-2", by=technician, at=NOON)
    hold_parts(order=order, by=desk, at=NOON)
    assert order.pick_list.lines.get().part_number == "SK-2"
    remove_kit_line(line=family.second_line, by=manager, at=NOON)
    hold_parts(order=order, by=desk, at=NOON)
    assert order.pick_list.lines.get().part_number == "SK-1"
    assert held(family.second) == 0


def test_as_many_bags_as_the_alternate_reaches_for_take_it(technician):
    family = Family(seconds=2)
    order = family.order(dampers=3)
    swap_part(order=order, part_number="SK-1", instead="SK-2", by=technician, at=NOON)
    assert sorted(order.pick_list.lines.values_list("part_number", flat=True)) == ["SK-1", "SK-2", "SK-2"]
    with pytest.raises(Conflict, match="0 of SK-2 seal kit, second number is free"):
        swap_part(order=order, part_number="SK-1", instead="SK-2", by=technician, at=NOON)


def test_chosen_twice_is_as_good_as_once_and_what_does_not_wait_is_not_changed(technician):
    family = Family()
    order = family.order()
    for _ in range(2):
        swap_part(order=order, part_number="SK-1", instead="SK-2", by=technician, at=NOON)
    assert lines(order) == {("SK-2", 1)}
    assert AuditEntry.objects.filter(kind="order", what__startswith="SK-2 is taken instead").count() == 1
    make.make_movement(family.kit, 3)
    other = family.order()
    with pytest.raises(Conflict, match="No bag waits for SK-1 any more"):
        swap_part(order=other, part_number="SK-1", instead="SK-2", by=technician, at=NOON)
    with pytest.raises(ValidationError, match="X-1 is not on the pick list"):
        swap_part(order=other, part_number="X-1", instead="SK-2", by=technician, at=NOON)


def test_back_to_the_part_itself_one_can_always_go_but_not_with_a_picked_one(technician):
    family = Family()
    order = family.order()
    line = swap_line(line=order.pick_list.lines.get(), part_number="SK-2", by=technician, at=NOON)
    pick_line(line=line, by=technician, at=NOON)
    with pytest.raises(Conflict, match="Put it back first"):
        swap_line(line=line, part_number="SK-1", by=technician, at=NOON)
    put_back_line(line=line, by=technician, at=NOON)
    back = swap_line(line=line, part_number="SK-1", by=technician, at=NOON)
    assert (back.part_number, back.short, held(family.second)) == ("SK-1", 1, 0)


def test_what_is_no_alternate_is_never_taken(technician):
    order = Family().order()
    make.make_part("SK-9", on_hand=5)
    with pytest.raises(ValidationError, match="SK-9 cannot be taken in the place of SK-1"):
        swap_line(line=order.pick_list.lines.get(), part_number="SK-9", by=technician, at=NOON)
    assert lines(order) == {("SK-1", 1)}


def test_an_optional_part_may_have_an_alternate_too(technician):
    family = Family(shafts=0)
    make.make_part("SH-2", on_hand=1, name="shaft, second number")
    make.make_alternate(family.shaft_line, "SH-2", name="shaft, second number")
    order = family.order()
    line = take_up_part(job=order.jobs.get(), part_number="SH-1", by=technician, at=NOON)
    swap_line(line=line, part_number="SH-2", by=technician, at=NOON)
    assert lines(order) == {("SK-1", 1), ("SH-2", 1)}
    take_back_part(job=order.jobs.get(), part_number="SH-1", by=technician, at=NOON)
    assert lines(order) == {("SK-1", 1)}


def test_an_alternate_is_chosen_only_while_the_order_runs(desk):
    order = Family().order(by=desk)
    call_off(order=order, why="sold", by=desk, at=NOON)
    with pytest.raises(Conflict, match="booked or on the benches"):
        swap_part(order=order, part_number="SK-1", instead="SK-2", by=desk, at=NOON)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_choose_the_last_alternate_one_is_told():
    family, user = Family(seconds=1), make.make_user("technician")
    found = [family.order().pick_list.lines.get() for _ in range(2)]
    outcomes = at_once(*[lambda one=one: swap_line(line=one, part_number="SK-2", by=user, at=NOON) for one in found])
    assert sorted(isinstance(one, Conflict) for one in outcomes) == [False, True]
    assert held(family.second) == 1


# --- a list that changes ----------------------------------------------------------------------------------------------


def test_a_booked_order_takes_the_change_up_at_the_next_fill_and_one_on_the_benches_keeps_its_own(desk, manager):
    family = Family(kits=9)
    booked, at_work = family.order(by=desk), family.order(by=desk)
    come_in(at_work, desk)
    booked, at_work = (WorkOrder.objects.get(pk=order.pk) for order in (booked, at_work))
    assert parts_changed(at_work) == ""
    line = family.kit_line
    change_kit_line(
        line=line, part_number="SK-1", name="seal kit", measure="count", amount=2,
        seen=as_seen(family.model.kit_lines.all()), by=manager, at=NOON,
    )  # fmt: skip
    add_kit_line(
        damper_model=family.model, part_number="BR-1", name="bumper", measure="count", amount=1, optional=True,
        by=manager, at=NOON,
    )  # fmt: skip
    assert "This order keeps the parts that it was given then." in parts_changed(at_work)
    assert parts_changed(booked) == ""  # it takes the change up
    for order in (booked, at_work):
        hold_parts(order=order, by=desk, at=NOON)
        order.pick_list.refresh_from_db()
    assert (lines(booked), lines(at_work)) == ({("SK-1", 2)}, {("SK-1", 1)})
    assert [len(order.pick_list.offered()) for order in (booked, at_work)] == [2, 1]


def test_an_order_that_is_over_says_nothing_of_changes(desk, manager):
    family = Family()
    order = family.order(by=desk)
    call_off(order=order, why="sold", by=desk, at=NOON)
    remove_kit_line(line=family.kit_line, by=manager, at=NOON)
    order.refresh_from_db()
    assert order.status == OrderStatus.CALLED_OFF
    assert parts_changed(order) == ""
