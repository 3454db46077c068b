"""What is gathered for a day: many pick lists as one, each part once, with one plan of what to open for all of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shop.parts.models import Container, Part
from shop.parts.selectors import Stock, draw_in_words, stock_of, to_buy
from shop.parts.walking import Walk, present_walk, runs
from shop.picklists.models import PickLine
from shop.picklists.selectors import Alternate, alternates_for


@dataclass(frozen=True)
class GatherRow:
    """One part over all lists. Amounts in base units; needed = picked + to_take + short.

    lines stand in the order of the lists, then by bag. plan covers to_take, and nothing that lies in a bag already.
    """

    part_number: str
    name: str
    measure: str
    part: Part | None
    lines: list[PickLine]
    needed: int
    picked: int
    to_take: int
    short: int
    on_hand: int
    plan: list[str]
    buy: list[tuple[Container, int]]
    alternates: list[Alternate]

    @property
    def bin(self) -> str:
        return self.part.bin if self.part else ""

    @property
    def done(self) -> bool:
        return all(line.picked_at for line in self.lines)

    @property
    def from_draft(self) -> bool:
        return any(line.from_draft for line in self.lines)

    @property
    def waiting(self) -> list[PickLine]:
        """Bags that can be filled now, in the order in which they are."""
        return [line for line in self.lines if not line.picked_at and not line.short]

    @property
    def lacking(self) -> list[PickLine]:
        """Bags for which something is still to come."""
        return [line for line in self.lines if not line.picked_at and line.short]

    @property
    def each(self) -> int | None:
        """What every bag takes; None when they differ."""
        first, *others = {line.amount for line in self.lines}
        return None if others else first

    @property
    def on_hand_instead(self) -> list[Alternate]:
        """Alternates that can be taken now for a bag that is short."""
        return [one for one in self.alternates if one.enough]


def gather_rows(lists: Sequence[int], part_numbers: Iterable[str] | None = None) -> list[GatherRow]:
    """The lines of these pick lists (keys, the most urgent first) in walking order; eight queries for any number.

    With part_numbers only their rows.
    """
    rank = {key: place for place, key in enumerate(lists)}
    lines = PickLine.objects.filter(pick_list__in=rank).select_related("reservation").order_by()
    if part_numbers is not None:
        lines = lines.filter(part_number__in=list(part_numbers))
    lines = list(lines)
    parts = Part.objects.in_bulk({line.part_id for line in lines if line.part_id})
    tags = {line.tag: runs(line.tag) for line in lines}
    lines.sort(key=lambda line: (rank[line.pick_list_id], tags[line.tag], line.pk))
    grouped: dict[str, list[PickLine]] = {}
    for line in lines:
        if line.part_id:
            line.part = parts[line.part_id]
        grouped.setdefault(line.part_number, []).append(line)
    others = {choice.part_number for line in lines if line.kept_chain and line.short for choice in line.chain[1:]}
    alternates = {part.number: part for part in Part.objects.filter(number__in=others)}
    stock = stock_of([*alternates.values(), *parts.values()])
    rows, walk = [_row(lines, stock, alternates) for lines in grouped.values()], present_walk()
    return in_walking_order(rows, walk)


def in_walking_order(rows: Iterable[GatherRow], walk: Walk) -> list[GatherRow]:
    return sorted(rows, key=lambda row: (walk.key(row.bin), runs(row.part_number), row.part_number))


def _row(lines: list[PickLine], stock: dict[int, Stock], alternates: dict[str, Part]) -> GatherRow:
    first = lines[0]
    own = stock.get(first.part_id, Stock())
    needed = picked = to_take = short = 0
    for line in lines:
        needed += line.amount
        if line.picked_at:
            picked += line.amount
        else:
            lacks = line.short
            short += lacks
            to_take += line.amount - lacks
    return GatherRow(
        part_number=first.part_number,
        name=first.name,
        measure=first.measure,
        part=first.part,
        lines=lines,
        needed=needed,
        picked=picked,
        to_take=to_take,
        short=short,
        on_hand=own.on_hand,
        plan=draw_in_words(own, min(to_take, own.on_hand), first.measure) if to_take else [],
        buy=to_buy(own, short),
        alternates=alternates_for(lines, stock, alternates) if short else [],
    )
