"""Every write on stock, a file per activity."""

from shop.parts.services.counting import count
from shop.parts.services.items import NewPart, add_container, create_part, create_parts
from shop.parts.services.stock import lock, receive, use
from shop.parts.services.walking import set_walking_order

__all__ = [
    "NewPart",
    "add_container",
    "count",
    "create_part",
    "create_parts",
    "lock",
    "receive",
    "set_walking_order",
    "use",
]
