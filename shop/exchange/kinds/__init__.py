"""What can be brought in and taken out, in the order in which a new shop fills."""

from shop.exchange.kinds.customers import Customers
from shop.exchange.kinds.kit_lines import KitLines
from shop.exchange.kinds.parts import Parts
from shop.exchange.kinds.sheets import Sheets
from shop.exchange.kinds.vehicles import Vehicles

KINDS = {one.name.value: one for one in (Sheets, KitLines, Parts, Customers, Vehicles)}

__all__ = ["KINDS"]
