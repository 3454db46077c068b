"""Every table of the stock room, a file per activity."""

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
from shop.parts.models.takes import StockTake, StockTakeRow, TakenPart, Tally
from shop.specs.models import MOST_AT_ONCE

__all__ = [
    "BASE_UNIT_SI",
    "MOST_AT_ONCE",
    "MOST_AT_ONCE_SI",
    "Container",
    "Lot",
    "Movement",
    "MovementKind",
    "Part",
    "Reservation",
    "ReservationState",
    "StockTake",
    "StockTakeRow",
    "TakenPart",
    "Tally",
]
