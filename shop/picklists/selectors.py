from dataclasses import dataclass, field

from django.db.models import Sum

from shop.core.amounts import stock_amount
from shop.parts.models import Container, Movement, MovementKind, Part
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
    expired: list[str] = field(default_factory=list)  # what stands on the shelf and may not be used any more

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
    def issued(self) -> int:
        """Base units that were taken from the shelf for its bags and not put back."""
        return sum(line.issued for line in self.lines)

    @property
    def over(self) -> list[PickLine]:
        """Bags in which more lies than is asked for: it is to be put back."""
        return [line for line in self.lines if line.over]

    @property
    def picked(self) -> bool:
        return all(line.picked_at for line in self.lines)

    @property
    def from_draft(self) -> bool:
        return any(line.from_draft for line in self.lines)

    @property
    def missing_in_words(self) -> str:
        """What is missing, without what to buy for it: where that is on its way."""
        return f"{stock_amount(self.short, self.measure)} short{self._past}" if self.short else ""

    @property
    def _past(self) -> str:
        return f" ({'; '.join(self.expired)})" if self.expired else ""

    @property
    def short_in_words(self) -> str:
        """What is missing and what to buy for it; empty when nothing is."""
        if not self.short:
            return ""
        missing = stock_amount(self.short, self.measure)
        if not self.part:
            return f"{missing} short: {self.part_number} is not in the stock list"
        if self.buy:
            return f"{self.missing_in_words}: buy " + " and ".join(
                f"{count} × {container}" for container, count in self.buy
            )
        return f"{self.missing_in_words}: buy {missing}"


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
    needed, held = sum(line.asks_for for line in lines), sum(line.held for line in lines)
    return PickRow(
        part_number=first.part_number,
        name=first.name,
        measure=first.measure,
        part=first.part,
        needed=needed,
        held=held,
        on_hand=own.on_hand,
        lines=lines,
        plan=draw_in_words(own, min(held, own.usable), first.measure) if held else [],
        buy=to_buy(own, sum(line.short for line in lines)),
        alternates=alternates_for(lines, stock, alternates),
        expired=own.expired_in_words,
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


@dataclass(frozen=True)
class Account:
    """What one line asked for, what was taken for it, and what it used; base units."""

    line: PickLine
    issued: int  # picked
    returned: int  # put back, before the end or at closing
    straight: int  # taken from the shelf at closing, without being picked

    @property
    def used(self) -> int | None:
        """None while the work is not done."""
        return self.line.used

    @property
    def difference(self) -> int | None:
        """Used beyond what was picked; below zero when less was used."""
        return None if self.used is None else self.used - self.issued

    @property
    def in_words(self) -> str:
        """Used against picked: "700 mL picked, 640 mL used: 60 mL went back"."""
        said = {
            name: stock_amount(abs(amount), self.line.measure)
            for name, amount in {
                "issued": self.issued,
                "returned": self.returned,
                "in_bag": self.issued - self.returned,
                "straight": self.straight,
                "used": self.used or 0,
            }.items()
        }
        if self.used is None:
            if not self.issued:
                return "not picked"
            back = f", {said['returned']} put back" if self.returned else ""
            return f"{said['issued']} picked{back}"
        if not self.line.part:
            return f"{said['used']} used, not in the stock list"
        if not self.issued:
            return f"{said['used']} used without being picked" if self.used else "not picked, not used"
        what = f"{said['issued']} picked, {said['used']} used"
        if self.straight:
            return f"{what}: {said['straight']} more taken from the shelf"
        return f"{what}: {said['returned']} went back" if self.returned else what


def used_against_picked(pick_list: PickList) -> list[Account]:
    """Each line with what was picked, put back and used; two queries for any number of lines."""
    lines = list(pick_list.lines.select_related("part", "reservation", "picked_by").order_by("tag", "pk"))
    keys = [line.reservation_id for line in lines if line.reservation_id]
    moved = {}
    rows = Movement.objects.filter(reservation__in=keys).order_by().values_list("reservation", "kind")
    for reservation, kind, amount in rows.annotate(Sum("amount")):
        moved[reservation, kind] = amount

    def of(line, *kinds):
        return sum(moved.get((line.reservation_id, kind), 0) for kind in kinds)

    return [
        Account(
            line,
            issued=-of(line, MovementKind.ISSUED),
            returned=of(line, MovementKind.RETURNED),
            straight=-of(line, MovementKind.USED, MovementKind.CORRECTED),
        )
        for line in lines
    ]
