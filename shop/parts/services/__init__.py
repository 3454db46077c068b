"""Every write on stock, a file per activity."""

from shop.parts.services.counting import correct, count, write_off
from shop.parts.services.items import NewPart, add_container, create_part, create_parts, set_keeping
from shop.parts.services.stock import issue, lock, put_back, receive, use
from shop.parts.services.takes import enter_counts, finish_take, give_up_take, start_take

__all__ = [
    "NewPart",
    "add_container",
    "correct",
    "count",
    "create_part",
    "create_parts",
    "enter_counts",
    "finish_take",
    "give_up_take",
    "issue",
    "lock",
    "put_back",
    "receive",
    "set_keeping",
    "start_take",
    "use",
    "write_off",
]
