"""What a bench calculator answers: figures with their unit, sentences, and at most one table."""

from dataclasses import dataclass
from typing import NamedTuple

from shop.calc import units
from shop.figures.own_units import other_unit, unit_of


@dataclass(frozen=True)
class Figure:
    """One result. si is None where text says it all ("ISO VG 5", a day); signed figures show their plus.

    The first figure of an answer is the one the calculator is there for. unit is fixed where the shop's own is not
    wanted; a plain number has no quantity, and unit is what stands behind it.
    """

    name: str
    label: str
    si: float | None = None
    quantity: str = ""
    unit: str = ""
    digits: int | None = None
    signed: bool = False
    text: str = ""

    @property
    def figures(self) -> str:
        """The number, or the text."""
        if self.si is None:
            return self.text
        return self._in(self.symbol)

    @property
    def symbol(self) -> str:
        if self.si is None:
            return ""
        return self.unit or (unit_of(self.quantity) if self.quantity else "")

    @property
    def other(self) -> str:
        """The same in the other unit."""
        other = other_unit(self.symbol) if self.quantity and not self.unit else ""
        return f"{self._in(other, None)} {other}" if other else ""

    def _in(self, symbol: str, digits: int | None = ...) -> str:
        digits = self.digits if digits is ... else digits
        if not self.quantity:
            text = f"{self.si:.{digits or 0}f}".replace("-", "−")
        elif self.quantity == "temperature" and self.signed:  # a difference has no zero point
            text = f"{self.si / float(units.unit(symbol).factor):.0f}".replace("-", "−")
        else:
            text = units.figures(self.si, symbol, digits)
        return f"+{text}" if self.signed and not text.startswith("−") and text.strip("0.") else text


@dataclass(frozen=True)
class Sentence:
    """Something to say beside the figures. state: ok, care or refused; empty for a plain remark."""

    text: str
    state: str = ""


class Column(NamedTuple):
    label: str
    quantity: str


@dataclass(frozen=True)
class Table:
    """Rows hold SI values, one for each column."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[float, ...], ...]

    def heads(self) -> list[tuple[str, str]]:
        """Label and unit of each column."""
        return [(label, unit_of(quantity)) for label, quantity in self.columns]

    def lines(self) -> list[list[str]]:
        """The cells as text, in the units of the heads."""
        symbols = [unit_of(quantity) for _, quantity in self.columns]
        return [[units.figures(value, one) for value, one in zip(row, symbols, strict=True)] for row in self.rows]


@dataclass(frozen=True)
class Answer:
    figures: tuple[Figure, ...]
    sentences: tuple[Sentence, ...] = ()
    table: Table | None = None
