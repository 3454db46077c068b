from dataclasses import dataclass

from shop.core.amounts import stock_amount
from shop.parts.models import Container, Part
from shop.parts.selectors import Stock, draw_in_words, stock_of, to_buy
from shop.picklists.models import PickLine, PickList


@dataclass(frozen=True)
class PickRow:
    """One part of a pick list, summed over its bags. Amounts in base units."""

    part_number: str
    name: str
    measure: str
    part: Part | None
    needed: int
    held: int
    on_hand: int
    lines: list[PickLine]
    plan: list[str]
    buy: list[tuple[Container, int]]

    @property
    def bin(self) -> str:
        return self.part.bin if self.part else ""

    @property
    def short(self) -> int:
        return sum(line.short for line in self.lines)

    @property
    def picked(self) -> bool:
        return all(line.picked_at for line in self.lines)

    @property
    def from_draft(self) -> bool:
        return any(line.from_draft for line in self.lines)

    @property
    def short_in_words(self) -> str:
        """What is missing and what to buy for it; empty when nothing is."""
        if not self.short:
            return ""
        missing = stock_amount(self.short, self.measure)
        if not self.part:
            return f"{missing} short: {self.part_number} is not in the stock list"
        if self.buy:
            return f"{missing} short: buy " + " and ".join(f"{count} × {container}" for container, count in self.buy)
        return f"{missing} short: buy {missing}"


@dataclass(frozen=True)
class PickSheet:
    rows: list[PickRow]

    @property
    def short(self) -> bool:
        return any(row.short for row in self.rows)

    @property
    def picked(self) -> bool:
        return all(row.picked for row in self.rows)


def pick_sheet(pick_list: PickList) -> PickSheet:
    """A pick list in the order of the bins, part by part; four queries for any number of lines."""
    lines = list(pick_list.lines.select_related("part", "reservation", "picked_by"))
    stock = stock_of({line.part for line in lines if line.part})
    grouped: dict[str, list[PickLine]] = {}
    for line in lines:
        grouped.setdefault(line.part_number, []).append(line)
    rows = [_row(lines, stock.get(lines[0].part_id, Stock())) for lines in grouped.values()]
    return PickSheet(sorted(rows, key=lambda row: (row.bin == "", row.bin, row.part_number)))


def _row(lines: list[PickLine], stock: Stock) -> PickRow:
    first = lines[0]
    needed, held = sum(line.amount for line in lines), sum(line.held for line in lines)
    return PickRow(
        part_number=first.part_number,
        name=first.name,
        measure=first.measure,
        part=first.part,
        needed=needed,
        held=held,
        on_hand=stock.on_hand,
        lines=lines,
        plan=draw_in_words(stock, min(held, stock.on_hand), first.measure) if held else [],
        buy=to_buy(stock, sum(line.short for line in lines)),
    )
