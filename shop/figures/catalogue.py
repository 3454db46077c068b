"""All bench calculators, in the order in which people see them."""

from itertools import groupby

from shop.figures import gas, oil, springs, torque, vehicle
from shop.figures.calculator import Calculator

CALCULATORS: dict[str, Calculator] = {
    one.name: one
    for module in (gas, oil, torque, springs, vehicle)
    for one in module.CALCULATORS
}  # fmt: skip


def groups() -> list[tuple[str, list[Calculator]]]:
    """Calculators by what they are about."""
    return [(group, list(some)) for group, some in groupby(CALCULATORS.values(), key=lambda one: one.group)]
