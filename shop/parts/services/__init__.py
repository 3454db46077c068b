"""Every write on stock, a file per activity."""

from shop.parts.services.counting import count
from shop.parts.services.items import NewPart, add_container, create_part, create_parts
from shop.parts.services.stock import lock, receive, use

__all__ = ["NewPart", "add_container", "count", "create_part", "create_parts", "lock", "receive", "use"]
