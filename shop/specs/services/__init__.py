"""Every write on the spec table, a file per activity."""

from shop.specs.services.figures import NewValue
from shop.specs.services.intervals import remove_interval, set_interval
from shop.specs.services.kit import (
    ListedPart,
    add_kit_line,
    change_kit_line,
    copy_parts_list,
    remove_kit_line,
    write_parts_list,
)
from shop.specs.services.sheets import enter_sheet, verify_sheet, withdraw_sheet

__all__ = [
    "ListedPart",
    "NewValue",
    "add_kit_line",
    "change_kit_line",
    "copy_parts_list",
    "enter_sheet",
    "remove_interval",
    "remove_kit_line",
    "set_interval",
    "verify_sheet",
    "withdraw_sheet",
    "write_parts_list",
]
