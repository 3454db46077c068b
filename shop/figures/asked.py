"""What a bench calculator asks for: inputs with label, unit, example and allowed range, the same for pages and API.

An input reads text as people write it. own=True takes a bare number in the unit beside the input (pages); own=False
insists on a unit (API). Every refusal is a CalcError that names the label, what was typed and what is allowed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from shop.calc import units
from shop.calc.errors import OutOfRange, Unreadable
from shop.calc.units import Entered
from shop.figures.own_units import quantity_of, unit_of


@dataclass(frozen=True, kw_only=True)
class Input:
    """What every input has. default is text with its unit, or a function giving it; example is shown, never used."""

    name: str
    label: str
    example: str = ""
    default: str | Callable[[], str] = ""
    help: str = ""
    required: bool = True

    @property
    def unit(self) -> str:
        """What stands beside the input."""
        return ""

    @property
    def allowed(self) -> str:
        """The range in words, empty where none is told."""
        return ""

    def own(self, text: str) -> str:
        """An example or a default as it would be typed into the page."""
        return text

    def default_text(self) -> str:
        return self.default() if callable(self.default) else self.default

    def read(self, text: str, own: bool = True) -> object:
        """The value of a text that is not empty, else CalcError."""
        raise NotImplementedError

    def missing(self) -> Unreadable:
        """What is said of a required input that is empty."""
        return Unreadable(self.label, "", f"{self.kind} such as {self.shown_example()}")

    kind = "a number"

    def shown_example(self) -> str:
        return " ".join(part for part in (self.own(self.example), self.unit) if part)

    def typed(self, value: object) -> str:
        """A value in the words of whoever typed it."""
        return str(value)


@dataclass(frozen=True, kw_only=True)
class Quantity(Input):
    """A figure with a unit; low and high are limits in SI. quantity is one of calc.units, "altitude" or "arm"."""

    quantity: str
    low: float | None = None
    high: float | None = None
    fixed_unit: str = ""

    @property
    def unit(self) -> str:
        return self.fixed_unit or unit_of(self.quantity)

    @property
    def allowed(self) -> str:
        return units.show_range(self.low, self.high, self.unit) if (self.low, self.high) != (None, None) else ""

    def own(self, text: str) -> str:
        if not text:
            return ""
        si = units.parse(text, quantity_of(self.quantity), negative=True).si
        return units.figures(si, self.unit).replace("−", "-")

    def read(self, text: str, own: bool = True) -> Entered:
        return units.parse(
            text,
            quantity_of(self.quantity),
            self.unit if own else None,
            field=self.label,
            low_si=self.low,
            high_si=self.high,
            negative=self.low is not None and self.low < 0,
        )


@dataclass(frozen=True, kw_only=True)
class Number(Input):
    """A plain number: percent, degrees of arc, coils. symbol may stand behind it; decimals None means any, 0 whole."""

    low: float
    high: float
    symbol: str = ""
    decimals: int | None = None

    @property
    def unit(self) -> str:
        return self.symbol

    @property
    def allowed(self) -> str:
        return f"{self.low:g} to {self.high:g}{f' {self.symbol}' if self.symbol else ''}"

    def read(self, text: str, own: bool = True) -> Entered:
        plain = text.strip()
        if self.symbol and plain.endswith(self.symbol):
            plain = plain.removesuffix(self.symbol)
        if len(plain) <= units.LONGEST_TEXT and plain[-1:].isalpha():  # a unit where none belongs
            raise Unreadable(self.label, text, f"a number such as {self.example}, without a unit")
        try:
            entered = units.parse(plain, "count", "pcs", field=self.label, negative=True)
        except Unreadable as error:
            doubt = "comma" in error.allowed or "zero" in error.allowed
            allowed = error.allowed if doubt else f"a number such as {self.example}"
            raise Unreadable(self.label, text, allowed) from None
        except OutOfRange as error:
            raise OutOfRange(self.label, error.value, self.allowed) from None
        if not self.low <= entered.value <= self.high:
            raise OutOfRange(self.label, entered.figures, self.allowed)
        if self.decimals is not None:
            scaled = entered.value * 10**self.decimals
            if abs(scaled - round(scaled)) > 1e-6:
                how = "a whole number" if not self.decimals else f"at most {self.decimals} decimals"
                raise OutOfRange(self.label, entered.figures, f"{how}, {self.allowed}")
        return entered

    def typed(self, value: Entered) -> str:
        return f"{value.figures} {self.symbol}".strip()


@dataclass(frozen=True, kw_only=True)
class Choice(Input):
    """One of a few words; options are pairs of value and label."""

    options: tuple[tuple[str, str], ...]

    @property
    def allowed(self) -> str:
        return " or ".join(value for value, _ in self.options)

    def read(self, text: str, own: bool = True) -> str:
        if text not in dict(self.options):
            raise Unreadable(self.label, text, self.allowed)
        return text


@dataclass(frozen=True, kw_only=True)
class Day(Input):
    """A calendar day."""

    kind = "a day"

    @property
    def allowed(self) -> str:
        return "a day from 1990-01-01 to 2100-12-31"

    def read(self, text: str, own: bool = True) -> date:
        try:
            day = date.fromisoformat(text.strip())
        except ValueError:
            raise Unreadable(self.label, text, f"a day of the calendar such as {self.example}") from None
        if not 1990 <= day.year <= 2100:
            raise OutOfRange(self.label, day.isoformat(), self.allowed)
        return day


@dataclass(frozen=True, kw_only=True)
class Text(Input):
    """Characters as they stand on a plate."""

    kind = "what stands on the plate,"
    longest: int = 30

    @property
    def allowed(self) -> str:
        return f"up to {self.longest} characters"

    def read(self, text: str, own: bool = True) -> str:
        if len(text) > self.longest or not text.isprintable():
            raise Unreadable(self.label, text, self.allowed)
        return text
