"""Every table of the stock room, a file per activity."""

from shop.parts.models.buying import (
    ON_ITS_WAY,
    PurchaseLine,
    PurchaseOrder,
    PurchaseStatus,
    Receipt,
    ReceiptLine,
    ReorderFix,
    SentHow,
)
from shop.parts.models.stock import (
    BASE_UNIT_SI,
    MOST_AT_ONCE_SI,
    Container,
    Lot,
    Movement,
    MovementKind,
    Part,
    Reservation,
    ReservationState,
)
from shop.parts.models.suppliers import MOST_UNITS, Supplier, SupplierItem, SupplierPrice
from shop.parts.models.takes import StockTake, StockTakeRow, TakenPart, Tally
from shop.parts.models.used_oil import TAKES, Drum, DrumKind, Fluid, Look, OilEntry, OilEntryKind, OilPaper
from shop.parts.models.walking import WalkStop
from shop.specs.models import MOST_AT_ONCE

__all__ = [
    "BASE_UNIT_SI",
    "MOST_AT_ONCE",
    "MOST_AT_ONCE_SI",
    "MOST_UNITS",
    "ON_ITS_WAY",
    "TAKES",
    "Container",
    "Drum",
    "DrumKind",
    "Fluid",
    "Look",
    "Lot",
    "Movement",
    "MovementKind",
    "OilEntry",
    "OilEntryKind",
    "OilPaper",
    "Part",
    "PurchaseLine",
    "PurchaseOrder",
    "PurchaseStatus",
    "Receipt",
    "ReceiptLine",
    "ReorderFix",
    "Reservation",
    "ReservationState",
    "SentHow",
    "StockTake",
    "StockTakeRow",
    "Supplier",
    "SupplierItem",
    "SupplierPrice",
    "TakenPart",
    "Tally",
    "WalkStop",
]
