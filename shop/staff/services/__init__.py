"""Every write on people and their hours, a file per activity."""

from shop.staff.services.hours import (
    add_absence,
    add_closed_day,
    end_absence,
    end_closed_day,
    set_bench_hours,
    set_working_hours,
)
from shop.staff.services.people import (
    PIN_LOCKED_FOR,
    PIN_MISSES_ALLOWED,
    change_role,
    coming_from,
    confirm_bench_pin,
    create_user,
    let_go,
    note,
    note_each,
    set_bench_pin,
    set_password,
    take_back,
)

__all__ = [
    "PIN_LOCKED_FOR",
    "PIN_MISSES_ALLOWED",
    "add_absence",
    "add_closed_day",
    "change_role",
    "coming_from",
    "confirm_bench_pin",
    "create_user",
    "end_absence",
    "end_closed_day",
    "let_go",
    "note",
    "note_each",
    "set_bench_hours",
    "set_bench_pin",
    "set_password",
    "set_working_hours",
    "take_back",
]
