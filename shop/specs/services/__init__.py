"""Every write on the spec table, a file per activity."""

from shop.specs.services.figures import NewValue
from shop.specs.services.intervals import set_interval
from shop.specs.services.kit import add_kit_line, remove_kit_line
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
from shop.specs.services.sheets import enter_sheet, verify_sheet, withdraw_sheet

__all__ = [
    "NewValue",
    "add_kit_line",
    "add_step",
    "change_procedure",
    "change_step",
    "discard_draft",
    "enter_sheet",
    "make_current",
    "move_step",
    "remove_kit_line",
    "remove_step",
    "set_interval",
    "start_procedure",
    "verify_sheet",
    "withdraw_sheet",
]
