"""The units of the calculators: the shop's where it has chosen one, else those that go with its choice of lengths."""

from shop.core.amounts import OTHER_UNIT, shop_unit

# A height above the sea is a length, and nobody gives it in inches.
QUANTITY = {"altitude": "length"}
OTHER = {
    **OTHER_UNIT,
    "ft": "m", "m": "ft",
    "lbf": "N", "N": "lbf",
    "lbf/in": "N/mm", "N/mm": "lbf/in",
}  # fmt: skip


def quantity_of(name: str) -> str:
    """What calc.units calls it."""
    return QUANTITY.get(name, name)


def unit_of(quantity: str) -> str:
    """The unit in which this shop reads and writes a quantity."""
    inches = shop_unit("length") == "in"
    match quantity:
        case "altitude":
            return "ft" if shop_unit("distance") == "mi" else "m"
        case "force":
            return "lbf" if inches else "N"
        case "spring_rate":
            return "lbf/in" if inches else "N/mm"
        case "viscosity":
            return "mm²/s"
        case "density":
            return "kg/m³"
    return shop_unit(quantity)


def other_unit(symbol: str) -> str:
    """The unit shown small beside it; empty where there is none."""
    return OTHER.get(symbol, "")
