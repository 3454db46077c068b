"""Figures in the shop's own units, for pages and papers."""

from decimal import Decimal

from django.conf import settings

from shop.calc.units import figures, from_si, show, show_range, unit

# The other unit, shown small beside the shop's own.
OTHER_UNIT = {
    "lbf·ft": "N·m", "N·m": "lbf·ft", "kgf·m": "N·m",
    "psi": "kPa", "kPa": "psi", "bar": "psi",
    "in": "mm", "mm": "in",
    "mi": "km", "km": "mi",
    "mL": "fl oz", "fl oz": "mL",
    "g": "oz", "oz": "g",
    "°F": "°C", "°C": "°F",
    "lbf/in": "N/mm", "N/mm": "lbf/in",
    "lbf": "N", "N": "lbf",
}  # fmt: skip
# Stock is kept in whole numbers of these.
BASE_UNIT = {"count": "pcs", "volume": "µL", "mass": "mg"}


def shop_unit(quantity: str) -> str:
    """The unit in which this shop reads and writes a quantity."""
    return settings.SHOP_UNITS[quantity]


def in_shop_unit(value_si: float, quantity: str) -> str:
    """Figures alone: "18"."""
    return figures(value_si, shop_unit(quantity))


def in_full(value_si: float, quantity: str) -> str:
    """Figures and unit: "18 lbf·ft"."""
    return show(value_si, shop_unit(quantity))


def in_other_unit(value_si: float, quantity: str) -> str:
    """The same in the unit shown small beside: "24.4 N·m"; empty where there is none."""
    other = OTHER_UNIT.get(shop_unit(quantity))
    return show(value_si, other) if other else ""


def altitude_unit() -> str:
    """Heights above the sea go with the shop's unit of length."""
    return "ft" if shop_unit("length") == "in" else "m"


def altitude(metres: float) -> str:
    """A height above the sea: "1320 m", "sea level"."""
    return show(metres, altitude_unit(), 0) if abs(metres) >= 0.5 else "sea level"


def span(low_si: float, high_si: float, quantity: str) -> str:
    """Allowed range without its unit, never wider than it is: "17.1 to 18.9"."""
    return show_range(low_si, high_si, shop_unit(quantity)).removesuffix(unit(shop_unit(quantity)).symbol).strip()


def stock_amount(amount: int, measure: str) -> str:
    """An amount of stock in words: "4", "340 mL", "4 g"."""
    if measure == "count":
        return f"{amount}".replace("-", "\N{MINUS SIGN}")
    one = unit(shop_unit(measure))
    value_si = amount * float(unit(BASE_UNIT[measure]).factor)
    if one.digits or value_si >= 10 * float(one.factor):
        return show(value_si, one.symbol)
    return f"{figures(value_si, one.symbol, 1).removesuffix('.0')} {one.symbol}"  # half a millilitre is not one


def price_in_words(price: Decimal) -> str:
    """A price with two figures behind the point, and with more only when it has them: 21.50, 0.085."""
    return f"{price:.2f}" if price == round(price, 2) else f"{price.normalize():f}"


def to_base_unit(value_si: float, measure: str) -> int:
    """An amount of stock as a whole number of its base unit, the nearest one."""
    return round(from_si(value_si, BASE_UNIT[measure])) if measure != "count" else round(value_si)


def money(amount: Decimal) -> str:
    """An amount with the shop's currency: "420.00 USD"."""
    return f"{amount:.2f} {settings.CURRENCY}"
