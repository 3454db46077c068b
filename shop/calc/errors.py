"""What a calculation says when it is asked for something it cannot answer."""

import math

# Fields are named like our arguments: the unit is the last part of the name, and a sentence shows it beside the value.
UNIT_OF_SUFFIX = {  # a longer one before the one it ends in
    "mm2_per_s": "mm²/s",
    "kg_per_m3": "kg/m³",
    "n_per_m": "N/m",
    "per_k": "1/K",
    "percent": "%",
    "deg": "°",
    "pa": "Pa",
    "nm": "N·m",
    "m3": "m³",
    "m": "m",
    "n": "N",
    "k": "K",
}
LONGEST_VALUE_SHOWN = 60


class CalcError(ValueError):
    """A value no calculation can use. Attributes: field, value, allowed (what would be accepted, in words)."""

    def __init__(self, field: str, value: object, allowed: str):
        super().__init__(field, value, allowed)
        self.field, self.value, self.allowed = field, value, allowed

    def __str__(self) -> str:
        name, unit = _label(self.field)
        return f"{name} cannot be {_shown(self.value)}{unit}. Give {self.allowed}."


class OutOfRange(CalcError):
    """A number that is not finite, or lies outside what the formula or the bench allows."""


class Unreadable(CalcError):
    """Text that is not one clear quantity of the wanted kind."""

    def __str__(self) -> str:
        if not str(self.value).strip():
            return f"{_label(self.field)[0]} is empty. Give {self.allowed}."
        return f"{_label(self.field)[0]}: “{_shown(self.value)}” cannot be read. Give {self.allowed}."


def require(
    field: str,
    value: float,
    low: float = -math.inf,
    high: float = math.inf,
    *,
    allowed: str,
    above: bool = False,
    below: bool = False,
) -> float:
    """Return value as a float if it is a finite number in low..high, else raise OutOfRange.

    above and below leave the end itself out (value > low, value < high). Truth values and text are no numbers.
    """
    if isinstance(value, (bool, str, bytes)):
        raise OutOfRange(field, value, allowed)
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        raise OutOfRange(field, value, allowed) from None
    inside = (low < number if above else low <= number) and (number < high if below else number <= high)
    if not math.isfinite(number) or not inside:
        raise OutOfRange(field, value, allowed)
    return number


def _label(field: str) -> tuple[str, str]:
    """Split charge_pa into "Charge" and " Pa"."""
    for suffix, unit in UNIT_OF_SUFFIX.items():
        if field.endswith(f"_{suffix}"):
            field, unit = field[: -len(suffix) - 1], f" {unit}"
            break
    else:
        unit = ""
    name = field.replace("_", " ").strip() or "value"
    return name[0].upper() + name[1:], unit


def _shown(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.6g}"
    text = str(value)
    return text if len(text) <= LONGEST_VALUE_SHOWN else text[: LONGEST_VALUE_SHOWN - 1] + "…"
