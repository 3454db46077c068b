"""Every write on the spec table, a file per activity."""

from shop.specs.services.copying import Copy, copy_sheets
from shop.specs.services.figures import NewValue
from shop.specs.services.intervals import set_interval
from shop.specs.services.kit import add_kit_line, remove_kit_line
from shop.specs.services.scans import attach_scan, remove_scan
from shop.specs.services.sheets import change_draft, enter_sheet, send_back, verify_sheet, withdraw_sheet
from shop.specs.services.table import DraftRow, write_drafts

__all__ = [
    "Copy",
    "DraftRow",
    "NewValue",
    "add_kit_line",
    "attach_scan",
    "change_draft",
    "copy_sheets",
    "enter_sheet",
    "remove_kit_line",
    "remove_scan",
    "send_back",
    "set_interval",
    "verify_sheet",
    "withdraw_sheet",
    "write_drafts",
]
