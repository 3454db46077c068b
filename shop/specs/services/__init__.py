"""Every write on the spec table, a file per activity."""

from shop.specs.services.copying import Copy, copy_sheets
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
from shop.specs.services.labour import remove_labour_time, set_labour_time
from shop.specs.services.procedures import (
    add_step,
    change_procedure,
    change_step,
    discard_draft,
    make_current,
    move_step,
    remove_step,
    start_procedure,
)
from shop.specs.services.scans import attach_scan, remove_scan
from shop.specs.services.sheets import change_draft, enter_sheet, send_back, verify_sheet, withdraw_sheet
from shop.specs.services.table import DraftRow, write_drafts

__all__ = [
    "Copy",
    "DraftRow",
    "ListedPart",
    "NewValue",
    "add_kit_line",
    "add_step",
    "attach_scan",
    "change_draft",
    "change_kit_line",
    "change_procedure",
    "change_step",
    "copy_parts_list",
    "copy_sheets",
    "discard_draft",
    "enter_sheet",
    "make_current",
    "move_step",
    "remove_interval",
    "remove_kit_line",
    "remove_labour_time",
    "remove_scan",
    "remove_step",
    "send_back",
    "set_interval",
    "set_labour_time",
    "start_procedure",
    "verify_sheet",
    "withdraw_sheet",
    "write_drafts",
    "write_parts_list",
]
