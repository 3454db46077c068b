"""Whatever people do to one shelf, in whatever order: the book adds up, and nobody is promised what is not there."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from shop.core.clock import local_day
from shop.parts import services as parts
from shop.parts.models import Lot, Movement, Part, Reservation, ReservationState
from shop.parts.selectors import draw_portions, stock_of
from shop.picklists import services as picklists
from shop.picklists.models import PickLine, PickList
from shop.picklists.needs import Need
from shop.staff.models import Role
from tests import factories as make
from tests.factories import NOON

LITRE = 1_000_000
AMOUNTS = st.sampled_from([1, 250_000, 340_000, 660_000, LITRE, 1_400_000, 2 * LITRE, 3 * LITRE])
TAGS = st.sampled_from(["1001-1", "1001-2"])
ORDERS = st.integers(0, 1)
WHICH = st.integers(0, 3)


class Shelf(RuleBasedStateMachine):
    """Oil in two sizes, in lots that age and without; two orders of two dampers each; one of everything a shop does."""

    @initialize()
    def open_the_shop(self):
        transaction.set_autocommit(False)  # all of a run is rolled back in the end
        self.by = make.make_user(Role.MANAGER)
        self.at = NOON
        self.oil = make.make_part(measure="volume", keeps_days=30)
        self.sizes = [None, make.make_container(self.oil, LITRE), make.make_container(self.oil, 5 * LITRE, "89.00")]
        self.orders = [PickList.objects.create(title=f"LG-100{n}", made_at=NOON) for n in range(2)]
        self.wanted = [{}, {}]
        self.closed = [False, False]
        self.receive(1, 3, "A1", 50)
        self.reserve(0, "1001-1", 340_000)

    def teardown(self):
        if hasattr(self, "by"):
            transaction.rollback()
            transaction.set_autocommit(True)

    def tried(self, act, **given):
        """A refusal is an answer; it must leave nothing behind. Anything else is a fault."""
        before, made, told = self.state(), None, []
        try:
            with transaction.atomic():
                made = act(by=self.by, at=self.at, **given)
        except ValidationError as refusal:
            told = refusal.messages
        assert not told or self.state() == before
        assert all(len(words) > 20 for words in told)
        return made

    def state(self):
        return Movement.objects.count(), list(
            Reservation.objects.order_by("pk").values_list("pk", "state", "amount", "issued")
        )

    def lines(self, having="amount"):
        rows = PickLine.objects.filter(pick_list__in=self.orders, used=None).select_related("reservation", "part")
        return [line for line in rows.order_by("pk") if getattr(line, having)]

    def having(which):
        """Only tried when there are lines of which something is held or issued, so that runs are worth their time."""
        return precondition(lambda self: hasattr(self, "oil") and self.lines(which))

    @rule(
        size=st.integers(0, 2), many=st.integers(1, 3), code=st.sampled_from(["", "A1", "B2"]), days=st.integers(0, 60)
    )
    def receive(self, size, many, code, days):
        size = self.sizes[size]
        use_by = local_day(self.at) + timedelta(days=days) if days else None
        self.tried(
            parts.receive, part=self.oil, amount=many * (size.size if size else LITRE), container=size, lot_code=code,
            use_by=use_by,
        )  # fmt: skip

    @rule(order=ORDERS, tag=TAGS, amount=AMOUNTS)
    def reserve(self, order, tag, amount):
        if self.closed[order]:
            return
        self.wanted[order][tag] = amount
        self.fill(order)

    @rule(order=ORDERS, tag=TAGS)
    def ask_no_more(self, order, tag):
        if not self.closed[order] and self.wanted[order].pop(tag, None):
            self.fill(order)

    @rule(order=ORDERS)
    def fill(self, order):
        if self.closed[order]:
            return
        needs = [Need(tag, self.oil.number, "oil", "volume", amount) for tag, amount in self.wanted[order].items()]
        picklists.fill(pick_list=self.orders[order], needs=needs, at=self.at)

    @having("held")
    @rule(which=WHICH)
    def issue(self, which):
        lines = self.lines("held")
        self.tried(picklists.pick, line=lines[which % len(lines)])

    @having("issued")
    @rule(which=WHICH, amount=st.none() | AMOUNTS)
    def put_back(self, which, amount):
        lines = self.lines("issued")
        self.tried(picklists.unpick, line=lines[which % len(lines)], amount=amount)

    @having("issued")
    @rule(more=st.sampled_from([-340_000, 0, 340_000]))
    def close_one_that_was_picked(self, more):
        self.close_order(self.orders.index(self.lines("issued")[0].pick_list), None, more)

    @rule(order=ORDERS, used=st.none() | AMOUNTS)
    def close(self, order, used):
        self.close_order(order, used)

    def close_order(self, order, used, more=0):
        """Each line used so much, or what it asks for and so much more; what was issued beyond it goes back."""
        if self.closed[order]:
            return

        def book(by, at):
            for line in self.orders[order].lines.select_related("reservation", "part"):
                line.used = max(line.asks_for + more, 0) if used is None else used
                parts.use(part=line.part, amount=line.used, reservation=line.reservation, by=by, at=at, reason="LG")
                line.save(update_fields=["used"])
            return True

        self.closed[order] = bool(self.tried(book))

    @rule(order=ORDERS)
    def begin_another_order(self, order):
        if self.closed[order]:
            self.orders[order] = PickList.objects.create(title="LG-2001", made_at=self.at)
            self.wanted[order], self.closed[order] = {}, False

    @rule(amount=AMOUNTS)
    def use_without_an_order(self, amount):
        self.tried(parts.use, part=self.oil, amount=amount, reservation=None)

    def a_place(self, which):
        portions = stock_of([self.oil], today=local_day(self.at))[self.oil.pk].portions
        return portions[which % len(portions)] if portions else None

    @rule(which=st.integers(0, 5), found=AMOUNTS | st.just(0), give_up=st.booleans())
    def count(self, which, found, give_up):
        if place := self.a_place(which):
            loses = self.oil.reservations.filter(state=ReservationState.HELD) if give_up else ()
            self.tried(
                parts.count, part=self.oil, found=found, container=place.container, lot=place.lot, reason="count",
                loses=loses,
            )  # fmt: skip

    @rule(which=st.integers(0, 5), amount=AMOUNTS, give_up=st.booleans())
    def write_off(self, which, amount, give_up):
        if place := self.a_place(which):
            loses = self.oil.reservations.filter(state=ReservationState.HELD) if give_up else ()
            self.tried(
                parts.write_off, part=self.oil, amount=amount, container=place.container, lot=place.lot,
                reason="spilt", loses=loses,
            )  # fmt: skip

    @rule(which=st.integers(0, 20), right=AMOUNTS | st.just(0))
    def correct(self, which, right):
        rows = list(self.oil.movements.all())
        if rows:
            wrong = rows[which % len(rows)]
            self.tried(parts.correct, movement=wrong, right=right if wrong.amount > 0 else -right, reason="a slip")

    @rule(days=st.sampled_from([1, 20, 40]))
    def time_goes_by(self, days):
        self.at += timedelta(days=days)

    @invariant()
    def the_book_adds_up(self):
        if not hasattr(self, "oil"):
            return
        stock = stock_of([self.oil], today=local_day(self.at))[self.oil.pk]
        rows = Movement.objects.filter(part=self.oil)
        assert stock.on_hand == sum(rows.values_list("amount", flat=True)) == sum(one.amount for one in stock.portions)
        assert 0 <= stock.held <= stock.on_hand
        assert 0 <= stock.expired <= stock.on_hand
        by_place = rows.order_by().values_list("container", "lot").annotate(Sum("amount"))
        assert all(amount >= 0 for _, _, amount in by_place)
        assert all(one.amount > 0 for one in stock.portions)
        for one in self.oil.reservations.all():
            moved = one.movements.aggregate(Sum("amount", default=0))["amount__sum"]
            assert one.issued == -moved
            assert one.state != ReservationState.HELD or one.amount > 0

    @invariant()
    def what_is_past_is_never_drawn_and_what_may_be_used_always_is(self):
        if not hasattr(self, "oil"):
            return
        stock = stock_of([self.oil], today=local_day(self.at))[self.oil.pk]
        standing = {(one.container, one.lot): one for one in stock.portions}
        drawn = draw_portions(stock, stock.usable) if stock.usable else []
        taken = {}
        for one in drawn:
            taken[one.container, one.lot] = taken.get((one.container, one.lot), 0) + one.amount
        assert sum(taken.values()) == stock.usable
        assert all(amount <= standing[place].usable for place, amount in taken.items())

    @invariant()
    def opened_containers_have_a_day_on_which_they_were_opened(self):
        if not hasattr(self, "oil"):
            return
        for one in stock_of([self.oil], today=local_day(self.at))[self.oil.pk].portions:
            if one.lot and one.container:
                assert bool(one.opened) == (one.lot.opened_on is not None)


RUNS = settings(
    max_examples=30,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    database=None,
)


@pytest.mark.flow
@pytest.mark.django_db(transaction=True)
def test_any_interleaving_keeps_the_book_right():
    connection.ensure_connection()
    run_state_machine_as_test(Shelf, settings=RUNS)
    assert not Part.objects.exists()
    assert not Lot.objects.exists()
