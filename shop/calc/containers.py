"""Which whole containers to take off the shelf for an amount of oil or grease.

Amounts are whole numbers of one base unit (µL or mg), prices whole cents, so that nothing is rounded on the way.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from shop.calc.errors import CalcError, OutOfRange

OBJECTIVES = ("cost", "waste")
# Most shelves are settled in a few dozen tries; only a stubborn one is worth a table of all totals.
TRIES_WITHOUT_TABLE = 300
LONGEST_TABLE = 1 << 27
NOT_ZERO = re.compile(rb"[^\x00]")


@dataclass(frozen=True, slots=True)
class Container:
    """A size on the shelf: key names it, size in base units, cost in cents; stock None means as many as wanted."""

    key: object
    size: int
    cost: int
    stock: int | None = None


@dataclass(frozen=True, slots=True)
class Opened:
    """What is left in an opened container, in base units."""

    key: object
    amount: int


@dataclass(frozen=True, slots=True)
class Cover:
    """The answer: what to take from opened containers, how many whole ones of each key, and what that means.

    counts names only containers that are taken. waste is what stays over in the whole ones; cost is in cents.
    """

    opened: tuple[tuple[object, int], ...]
    counts: dict[object, int]
    cost: int
    waste: int
    count: int


class NotEnough(OutOfRange):
    """All containers together do not hold the amount. Attributes: available and short, in base units."""

    def __init__(self, need: int, available: int):
        super().__init__("need", need, f"at most {available}, which is all that is in stock, or order more")
        self.args = (need, available)
        self.available, self.short = available, need - available


def cover(need: int, containers: Sequence[Container], opened: Sequence[Opened] = (), objective: str = "cost") -> Cover:
    """Whole containers that hold at least need: exact, not greedy.

    Opened containers are emptied first, in the order given, at no cost. For the rest: objective "cost" takes least
    cost, then least waste, then fewest containers; "waste" takes least waste, then least cost, then fewest.
    Raises OutOfRange for amounts, sizes, prices or stock that are no whole numbers in range, CalcError for two
    containers of one key or an unknown objective, NotEnough when the stock does not reach.
    """
    _check(need, containers, opened, objective)
    taken, left = [], need
    for one in opened:
        if left and one.amount:
            taken.append((one.key, min(left, one.amount)))
            left -= taken[-1][1]
    if not left:
        return Cover(tuple(taken), {}, 0, 0, 0)
    if all(one.stock is not None for one in containers):
        available = sum(one.size * one.stock for one in containers)
        if available < left:
            raise NotEnough(need, need - left + available)
    counts, cost, waste = _search(left, [one for one in containers if one.stock != 0], objective)
    return Cover(tuple(taken), counts, cost, waste, sum(counts.values()))


def _search(need: int, containers: list[Container], objective: str) -> tuple[dict[object, int], int, int]:
    """Branch and bound. Amounts are counted in steps of the sizes' common divisor: every total is a multiple of it."""
    step = math.gcd(*(one.size for one in containers))
    target = -(-need // step)
    items = sorted(containers, key=lambda one: (one.cost / one.size, -one.size))
    sizes = [one.size // step for one in items]
    costs = [one.cost for one in items]
    stock = [-(-target // size) if one.stock is None else one.stock for one, size in zip(items, sizes, strict=True)]
    # What the sizes from i on can hold at most.
    holds = [size * number for size, number in zip(sizes, stock, strict=True)]
    rest = [*accumulate(reversed(holds), initial=0)][::-1]
    by_cost = objective == "cost"
    totals = None if by_cost else _reachable(sizes, stock, target)
    least_waste = _overshoot(totals[0], target) if totals else 0
    best, best_counts, tries = (math.inf, math.inf, math.inf), (), 0
    seen: dict[tuple[int, int], tuple[int, int]] = {}

    def branch(i: int, left: int, cost: int, number: int, counts: tuple) -> None:
        nonlocal best, best_counts, totals, tries
        size, price = sizes[i], costs[i]
        for n in range(min(-(-left // size), stock[i]), -1, -1):
            after, paid, many = left - n * size, cost + n * price, number + n
            if after <= 0:
                key = (paid, -after, many) if by_cost else (-after, paid, many)
                if key < best:
                    best, best_counts = key, (*counts, n)
                continue
            if rest[i + 1] < after:
                break  # the other sizes cannot make up for fewer of this one
            tries += 1
            if totals is None and tries == TRIES_WITHOUT_TABLE:
                totals = _reachable(sizes, stock, target)
            over = 0
            if totals and (over := _overshoot(totals[i + 1], after)) is None:
                continue
            # The next size is the cheapest per unit of those still open: nothing fills the gap for less.
            cheapest = paid - (-after * costs[i + 1] // sizes[i + 1])
            if cheapest > best[0 if by_cost else 1] and (by_cost or best[0] == least_waste):
                break  # this size is cheaper still, so taking less of it cannot help
            least = paid - (-(after + over) * costs[i + 1] // sizes[i + 1])
            if ((least, over, many + 1) if by_cost else (over, least, many + 1)) >= best:
                continue
            if (known := seen.get((i + 1, after))) is not None and known <= (paid, many):
                continue
            seen[i + 1, after] = (paid, many)
            branch(i + 1, after, paid, many, (*counts, n))

    branch(0, target, 0, 0, ())
    counts = {one.key: n for one, n in zip(items, best_counts, strict=False) if n}
    total = sum(one.size * counts.get(one.key, 0) for one in items)
    return counts, sum(one.cost * counts.get(one.key, 0) for one in items), total - need


def _reachable(sizes: list[int], stock: list[int], target: int) -> list[bytes]:
    """For each i the totals that sizes[i:] can make, one bit each; empty when the table would not fit in memory."""
    length = target + max(sizes) + 1
    if length > LONGEST_TABLE:
        return []
    bits, tables, mask = 1, [], (1 << length) - 1
    for size, number in zip(reversed(sizes), reversed(stock), strict=True):
        number = min(number, -(-target // size))
        some = 1
        while number:  # 1, 2, 4 ... of them at a time make every number up to all
            some = min(some, number)
            bits |= bits << (size * some) & mask
            number -= some
            some *= 2
        tables.append(bits.to_bytes(length // 8 + 1, "little"))
    return [*reversed(tables), (1).to_bytes(length // 8 + 1, "little")]


def _overshoot(table: bytes, amount: int) -> int | None:
    """How far the smallest total that reaches amount goes beyond it; None when there is none."""
    at, bit = divmod(amount, 8)
    byte, start = table[at] >> bit, amount
    if not byte:
        found = NOT_ZERO.search(table, at + 1)
        if found is None:
            return None
        byte, start = table[found.start()], found.start() * 8
    return start + (byte & -byte).bit_length() - 1 - amount


def _check(need: int, containers: Sequence[Container], opened: Sequence[Opened], objective: str) -> None:
    if objective not in OBJECTIVES:
        raise CalcError("objective", objective, " or ".join(OBJECTIVES))
    _whole("need", need, 1, "a whole amount above zero")
    if not containers and not opened:
        raise CalcError("containers", "empty", "at least one container to choose from")
    for one in containers:
        _whole("size", one.size, 1, "a whole container size above zero")
        _whole("cost", one.cost, 0, "a price in whole cents, zero or more")
        if one.stock is not None:
            _whole("stock", one.stock, 0, "a whole number in stock, zero or more")
    for left in opened:
        _whole("opened", left.amount, 0, "a whole amount left, zero or more")
    keys = [one.key for one in containers]
    if len(set(keys)) < len(keys):
        raise CalcError("containers", ", ".join(str(key) for key in keys), "each container once")


def _whole(field: str, value: object, least: int, allowed: str) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or value < least:
        raise OutOfRange(field, value, allowed)
