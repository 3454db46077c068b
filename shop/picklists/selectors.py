from dataclasses import dataclass

from shop.core.amounts import stock_amount
from shop.parts.models import Container, Part
from shop.parts.selectors import Stock, draw_in_words, stock_of, to_buy
from shop.parts.walking import present_walk
from shop.picklists.models import PickLine, PickList
from shop.picklists.needs import Need


@dataclass(frozen=True)
class Alternate:
    """A part that may be taken in the place of a row's, and how much of it nobody holds; base units."""

    part_number: str
    name: str
    measure: str
    free: int
    enough: bool  # for at least one of the bags that wait


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
    alternates: list[Alternate]

    @property
    def instead_of(self) -> str:
        """The numbers in whose place this part was chosen; empty when it is the one that was asked for."""
        return ", ".join(dict.fromkeys(line.instead_of for line in self.lines if line.instead_of))

    @property
    def taken_up(self) -> list[PickLine]:
        """Bags for which it was taken up after an inspection."""
        return [line for line in self.lines if line.taken_up_at]

    @property
    def on_hand_instead(self) -> list[Alternate]:
        """Alternates that can be taken now for a bag that is short."""
        return [one for one in self.alternates if one.enough]

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
class Offer:
    """An optional part of one bag, and the line that it became when somebody took it up."""

    need: Need
    line: PickLine | None


@dataclass(frozen=True)
class PickSheet:
    rows: list[PickRow]
    offers: list[Offer]

    @property
    def short(self) -> bool:
        return any(row.short for row in self.rows)

    @property
    def picked(self) -> bool:
        return all(row.picked for row in self.rows)


def pick_sheet(pick_list: PickList) -> PickSheet:
    """A pick list in walking order, part by part; six queries for any number of lines."""
    lines = list(pick_list.lines.select_related("part", "reservation", "picked_by", "taken_up_by"))
    others = {choice.part_number for line in lines if line.short for choice in line.chain[1:]}
    alternates = {part.number: part for part in Part.objects.filter(number__in=others)} if others else {}
    stock = stock_of({*alternates.values(), *(line.part for line in lines if line.part)})
    grouped: dict[str, list[PickLine]] = {}
    for line in lines:
        grouped.setdefault(line.part_number, []).append(line)
    rows, walk = [_row(lines, stock, alternates) for lines in grouped.values()], present_walk()
    return PickSheet(sorted(rows, key=lambda row: (walk.key(row.bin), row.part_number)), offers_of(pick_list, lines))


def offers_of(pick_list: PickList, lines: list[PickLine], tag: str | None = None) -> list[Offer]:
    """The optional parts of a list, or of one of its bags, beside the lines that they became."""
    taken = {(line.tag, line.asked_for): line for line in lines if line.taken_up_at}
    return [Offer(need, taken.get((need.tag, need.part_number))) for need in pick_list.offered(tag)]


def _row(lines: list[PickLine], stock: dict[int, Stock], alternates: dict[str, Part]) -> PickRow:
    first = lines[0]
    own = stock.get(first.part_id, Stock())
    needed, held = sum(line.amount for line in lines), sum(line.held for line in lines)
    return PickRow(
        part_number=first.part_number,
        name=first.name,
        measure=first.measure,
        part=first.part,
        needed=needed,
        held=held,
        on_hand=own.on_hand,
        lines=lines,
        plan=draw_in_words(own, min(held, own.on_hand), first.measure) if held else [],
        buy=to_buy(own, sum(line.short for line in lines)),
        alternates=alternates_for(lines, stock, alternates),
    )


def alternates_for(lines: list[PickLine], stock: dict[int, Stock], parts: dict[str, Part]) -> list[Alternate]:
    """What may be taken in the place of a row's part for its bags that are short, by rank."""
    wanted: dict[str, list] = {}
    for line in lines:
        if line.short and not line.picked_at:
            for choice in line.chain[1:]:
                if choice.part_number != line.part_number:
                    wanted.setdefault(choice.part_number, []).append(choice)
    found = []
    for number, choices in wanted.items():
        part = parts.get(number)
        fits = part is not None and part.measure == lines[0].measure
        free = stock[part.pk].available if fits else 0
        enough = free >= min(one.amount for one in choices)
        found.append(Alternate(number, choices[0].name, lines[0].measure, free, enough))
    return found
