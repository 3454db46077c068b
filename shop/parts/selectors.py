from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Sum

from shop.calc import containers as calc
from shop.core.amounts import stock_amount
from shop.parts.models import Container, Movement, Part, Reservation, ReservationState


@dataclass(frozen=True)
class ContainerStock:
    """What stands on the shelf of one size: whole ones, and what is left in the opened one."""

    container: Container
    full: int
    opened: int


@dataclass(frozen=True)
class Stock:
    """Base units of the part. What is available is neither used nor held for somebody."""

    on_hand: int = 0
    held: int = 0
    containers: list[ContainerStock] = field(default_factory=list)

    @property
    def available(self) -> int:
        return max(self.on_hand - self.held, 0)


def stock_of(parts: Iterable[Part]) -> dict[int, Stock]:
    """Stock of each part by its primary key, in three queries for any number of parts.

    A size has at most one opened container: the rest of its on hand that fills no whole one.
    """
    keys = [part.pk for part in parts]
    moved = dict.fromkeys(keys, 0)
    by_container = {}
    sums = Movement.objects.filter(part__in=keys).order_by().values("part", "container").annotate(on_hand=Sum("amount"))
    for row in sums:
        moved[row["part"]] += row["on_hand"]
        by_container[row["container"]] = row["on_hand"]
    held = dict(
        Reservation.objects.filter(part__in=keys, state=ReservationState.HELD)
        .order_by()
        .values_list("part")
        .annotate(Sum("amount"))
    )
    shelves = {key: [] for key in keys}
    for container in Container.objects.filter(part__in=keys).order_by("size"):
        full, opened = divmod(max(by_container.get(container.pk, 0), 0), container.size)
        shelves[container.part_id].append(ContainerStock(container, full, opened))
    return {key: Stock(moved[key], held.get(key, 0), shelves[key]) for key in keys}


def draw(stock: Stock, amount: int) -> list[tuple[Container | None, int]]:
    """From which containers an amount is taken: opened ones first, then the cheapest whole ones that hold the rest.

    What no container holds comes last under None (stock entered without a container).
    """
    by_key = {one.container.pk: one for one in stock.containers}
    in_containers = sum(one.full * one.container.size + one.opened for one in stock.containers)
    reach = min(amount, in_containers)
    taken = []
    if reach > 0:
        found = calc.cover(
            reach,
            [calc.Container(key, one.container.size, cents(one.container), one.full) for key, one in by_key.items()],
            [calc.Opened(key, one.opened) for key, one in by_key.items()],
        )
        taken = [(by_key[key].container, part) for key, part in found.opened]
        left = reach - sum(part for _, part in found.opened)
        for key, count in found.counts.items():
            part = min(left, count * by_key[key].container.size)
            taken.append((by_key[key].container, part))
            left -= part
    if amount > reach:
        taken.append((None, amount - reach))
    return taken


def draw_in_words(stock: Stock, amount: int, measure: str) -> list[str]:
    """What to take off the shelf for an amount, container by container."""
    opened = {one.container.pk: one.opened for one in stock.containers}
    words = []
    for container, part in draw(stock, amount):
        if container is None:
            continue
        from_opened = min(part, opened.pop(container.pk, 0))
        if from_opened:
            words.append(f"the opened {container.name}: {stock_amount(from_opened, measure)}")
        if part > from_opened:
            words.append(f"{-(-(part - from_opened) // container.size)} × {container.name}")
    return words


def to_buy(stock: Stock, amount: int) -> list[tuple[Container, int]]:
    """The cheapest whole containers that hold an amount that is short; empty when the part is bought by the piece."""
    if amount <= 0 or not stock.containers:
        return []
    by_key = {one.container.pk: one.container for one in stock.containers}
    found = calc.cover(amount, [calc.Container(key, one.size, cents(one)) for key, one in by_key.items()])
    return [(by_key[key], count) for key, count in found.counts.items()]


def cents(container: Container) -> int:
    return int(container.price * 100)
