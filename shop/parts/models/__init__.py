"""Every table of the stock room, a file per activity."""

from shop.parts.models.stock import (
    BASE_UNIT_SI,
    MOST_AT_ONCE_SI,
    Container,
    Movement,
    MovementKind,
    Part,
    Reservation,
    ReservationState,
)
from shop.parts.models.used_oil import TAKES, Drum, DrumKind, Fluid, Look, OilEntry, OilEntryKind, OilPaper
from shop.parts.models.walking import WalkStop
from shop.specs.models import MOST_AT_ONCE

__all__ = [
    "BASE_UNIT_SI",
    "MOST_AT_ONCE",
    "MOST_AT_ONCE_SI",
    "TAKES",
    "Container",
    "Drum",
    "DrumKind",
    "Fluid",
    "Look",
    "Movement",
    "MovementKind",
    "OilEntry",
    "OilEntryKind",
    "OilPaper",
    "Part",
    "Reservation",
    "ReservationState",
    "WalkStop",
]
