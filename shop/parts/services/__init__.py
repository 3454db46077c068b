"""Every write on stock, a file per activity."""

from shop.parts.services.buying import (
    Arrived,
    Wanted,
    call_off_rest,
    correct_receipt,
    receive_delivery,
    send_order,
    set_line,
    start_order,
)
from shop.parts.services.counting import correct, count, write_off
from shop.parts.services.items import NewPart, add_container, create_part, create_parts, set_keeping
from shop.parts.services.reordering import fix_reorder, unfix_reorder
from shop.parts.services.stock import issue, lock, put_back, receive, use
from shop.parts.services.suppliers import add_item, change_item, change_supplier, create_supplier, note_price
from shop.parts.services.takes import enter_counts, finish_take, give_up_take, start_take
from shop.parts.services.used_oil import add_drum, correct_entry, hand_over, keep_paper, pour_in, retire_drum
from shop.parts.services.walking import set_walking_order

__all__ = [
    "Arrived",
    "NewPart",
    "Wanted",
    "add_container",
    "add_drum",
    "add_item",
    "call_off_rest",
    "change_item",
    "change_supplier",
    "correct",
    "correct_entry",
    "correct_receipt",
    "count",
    "create_part",
    "create_parts",
    "create_supplier",
    "enter_counts",
    "finish_take",
    "fix_reorder",
    "give_up_take",
    "hand_over",
    "issue",
    "keep_paper",
    "lock",
    "note_price",
    "pour_in",
    "put_back",
    "receive",
    "receive_delivery",
    "retire_drum",
    "send_order",
    "set_keeping",
    "set_line",
    "set_walking_order",
    "start_order",
    "start_take",
    "unfix_reorder",
    "use",
    "write_off",
]
