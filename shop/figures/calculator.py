"""A bench calculator: its inputs, the function, and what people have to know to trust the answer."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace

from shop.calc.errors import UNIT_OF_SUFFIX, CalcError, OutOfRange, Unreadable
from shop.calc.units import Entered, show
from shop.figures.answered import Answer
from shop.figures.asked import Input
from shop.figures.own_units import unit_of

WHOLE = ""


class Refused(Exception):
    """Inputs that give no answer. errors: sentence by the name of the input, or by WHOLE for none in particular.

    empty holds the names of required inputs in which nothing stands yet.
    """

    def __init__(self, errors: dict[str, str], empty: frozenset[str] = frozenset()):
        super().__init__(errors)
        self.errors, self.empty = errors, empty


@dataclass(frozen=True, kw_only=True)
class Calculator:
    """work takes the inputs by name, quantities as SI floats, inputs left out as None, and gives an Answer.

    blame names the input for a field of calc whose name differs from ours; left_out the inputs that the example does
    without, because another one stands in for them; columns is how many inputs belong side by side, 0 for any number.
    """

    name: str
    group: str
    title: str
    purpose: str
    inputs: tuple[Input, ...]
    work: Callable[[SimpleNamespace], Answer]
    formula: tuple[str, ...]
    validity: str
    source: str
    caution: tuple[str, str] = ("", "")
    blame: Mapping[str, str] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    columns: int = 0

    @property
    def measures(self) -> bool:
        """Whether it asks for anything with a unit."""
        return any(one.unit for one in self.inputs)

    def input(self, name: str) -> Input:
        return next(one for one in self.inputs if one.name == name)

    def example(self) -> dict[str, str]:
        """Texts by name that show the calculator at work, in the shop's units."""
        return {
            one.name: "" if one.name in self.left_out else one.own(one.example or one.default_text())
            for one in self.inputs
        }

    def read(self, texts: Mapping[str, str], own: bool = True) -> dict[str, object]:
        """The values of texts by name. A name that is not there takes its default. Raises Refused."""
        values, errors, empty = {}, {}, set()
        for one in self.inputs:
            text = texts.get(one.name)
            if text is None:
                text, bare = one.default_text(), False
            else:
                bare = own
            try:
                if text.strip():
                    values[one.name] = one.read(text, bare)
                elif one.required:
                    empty.add(one.name)
                    raise one.missing()
                else:
                    values[one.name] = None
            except CalcError as error:
                errors[one.name] = str(error)
        if errors:
            raise Refused(errors, frozenset(empty))
        return values

    def defaults(self, but: Mapping[str, object]) -> dict[str, object]:
        """The values of inputs that were not given: the default, or None for one that may be left out."""
        return {
            one.name: one.read(one.default_text(), own=False) if one.default else None
            for one in self.inputs
            if one.name not in but
        }

    def answer(self, values: Mapping[str, object]) -> Answer:
        """Work out what was read. Raises Refused."""
        bare = {name: one.si if isinstance(one, Entered) else one for name, one in values.items()}
        try:
            return self.work(SimpleNamespace(**bare, typed=values))
        except CalcError as error:
            raise self._refused(error, values) from error

    def _refused(self, error: CalcError, values: Mapping[str, object]) -> Refused:
        """A refusal of calc under the label of our input, with the value as it was typed."""
        name = self.blame.get(error.field) or _without_unit(error.field)
        if values.get(name) is None:
            if name not in values:
                return Refused({WHOLE: str(error)})
            return Refused({name: str(Unreadable(self.input(name).label, "", error.allowed))})
        one = self.input(name)
        return Refused({name: str(OutOfRange(one.label, one.typed(values[name]), error.allowed))})


def _without_unit(field: str) -> str:
    for suffix in UNIT_OF_SUFFIX:
        if field.endswith(f"_{suffix}"):
            return field.removesuffix(f"_{suffix}")
    return field


def in_own(si: float, quantity: str) -> str:
    """A value in the shop's unit, for sentences."""
    return show(si, unit_of(quantity))


def less_than(asked: SimpleNamespace, name: str, limit: float, what: str, quantity: str = "length") -> None:
    """Refuse an input that reaches a limit set by another: less_than(asked, "shaft", asked.bore, "the bore")."""
    if not getattr(asked, name) < limit:
        raise OutOfRange(name, getattr(asked, name), f"less than {what}, {in_own(limit, quantity)}")


def needs(asked: SimpleNamespace, name: str, why: str) -> None:
    """Refuse when an optional input is empty that another one calls for."""
    if getattr(asked, name) is None:
        raise OutOfRange(name, None, why)
