"""Every write on stock, a file per activity."""

from shop.parts.services.counting import count
from shop.parts.services.items import NewPart, add_container, create_part, create_parts
from shop.parts.services.stock import lock, receive, use
from shop.parts.services.used_oil import add_drum, correct_entry, hand_over, keep_paper, pour_in, retire_drum
from shop.parts.services.walking import set_walking_order

__all__ = [
    "NewPart",
    "add_container",
    "add_drum",
    "correct_entry",
    "count",
    "create_part",
    "create_parts",
    "hand_over",
    "keep_paper",
    "lock",
    "pour_in",
    "receive",
    "retire_drum",
    "set_walking_order",
    "use",
]
