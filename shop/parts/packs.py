"""What to order of a part for an amount of it: whole packs of the sizes that a supplier sells."""

from dataclasses import dataclass
from decimal import Decimal

from shop.calc import containers as calc
from shop.calc.inventory import whole_packs
from shop.calc.money import to_cent
from shop.parts.models import SupplierItem

PRICE_STEPS = 10_000  # prices have four figures behind the point; whole numbers of them add up exactly


@dataclass(frozen=True)
class Buy:
    """So many pieces or containers of what a supplier sells."""

    item: SupplierItem
    units: int

    @property
    def net(self) -> Decimal | None:
        """What it costs to the cent; None when nobody noted a price."""
        return None if self.item.price is None else to_cent(self.item.price * self.units)

    @property
    def amount(self) -> int:
        return self.units * self.item.size


def cover(need: int, items: list[SupplierItem]) -> list[Buy]:
    """Whole packs of what one supplier sells that hold an amount at least cost, then least left over, then fewest.

    items carry .price; without any price the least is left over. A minimum may make another size the cheaper one: the
    mix of all sizes, raised to their minimums, is held against each size by itself.
    """
    priced = [item for item in items if item.price is not None] or items
    by_key = {item.pk: item for item in priced}
    found = calc.cover(
        need,
        [calc.Container(one.pk, one.size * one.pack, _in_steps(one) * one.pack) for one in priced],
        objective="cost" if priced[0].price is not None else "waste",
    )
    mixed = {
        key: whole_packs(n * by_key[key].pack, 1, by_key[key].pack, by_key[key].minimum)
        for key, n in found.counts.items()
    }
    alone = [{one.pk: whole_packs(need, one.size, one.pack, one.minimum)} for one in priced]

    def worth(units: dict[int, int]) -> tuple[int, int, int]:
        cost = sum(n * _in_steps(by_key[key]) for key, n in units.items())
        return cost, sum(n * by_key[key].size for key, n in units.items()), sum(units.values())

    best = min([mixed, *alone], key=worth)
    return [Buy(by_key[key], units) for key, units in best.items()]


def _in_steps(item: SupplierItem) -> int:
    return int((item.price or 0) * PRICE_STEPS)
