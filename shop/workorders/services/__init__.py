"""Every write on work orders, a file per activity."""

from shop.workorders.services.agreements import (
    NewAgreement,
    answer_question,
    ask_customer,
    ask_proposed,
    note_agreement,
    propose_question,
    settle_declined,
    want_call,
    withdraw_question,
)
from shop.workorders.services.booking import book, call_off, check_in, drop_damper, hand_back
from shop.workorders.services.cards import register_card
from shop.workorders.services.closing import close_job, close_order
from shop.workorders.services.damper_models import change_damper_model
from shop.workorders.services.entering import book_new
from shop.workorders.services.gathering import pick_everywhere, pick_scanned, put_back_last
from shop.workorders.services.incoming import hold_for_waiting
from shop.workorders.services.owned import change_damper, change_vehicle, pass_on_vehicle, take_off_damper
from shop.workorders.services.photos import KeptPicture, add_photo, add_photos, keep_picture, strike_photo
from shop.workorders.services.picking import (
    hold_parts,
    pick_line,
    pick_part,
    put_all_back,
    put_back_line,
    put_back_part,
    swap_line,
    swap_part,
    take_back_part,
    take_up_part,
)
from shop.workorders.services.rebooking import change_booking, minutes_ahead
from shop.workorders.services.recording import (
    finish_step,
    pass_over_step,
    record_as_left,
    record_reading,
    reopen_damper,
    second_check,
)
from shop.workorders.services.sheets import take_present_sheet
from shop.workorders.services.tools import add_tool, record_calibration, take_out_of_use
from shop.workorders.services.used_oil import note_drained_oil

__all__ = [
    "KeptPicture",
    "NewAgreement",
    "add_photo",
    "add_photos",
    "add_tool",
    "answer_question",
    "ask_customer",
    "ask_proposed",
    "book",
    "book_new",
    "call_off",
    "change_booking",
    "change_damper",
    "change_damper_model",
    "change_vehicle",
    "check_in",
    "close_job",
    "close_order",
    "drop_damper",
    "finish_step",
    "hand_back",
    "hold_for_waiting",
    "hold_parts",
    "keep_picture",
    "minutes_ahead",
    "note_agreement",
    "note_drained_oil",
    "pass_on_vehicle",
    "pass_over_step",
    "pick_everywhere",
    "pick_line",
    "pick_part",
    "pick_scanned",
    "propose_question",
    "put_all_back",
    "put_back_last",
    "put_back_line",
    "put_back_part",
    "record_as_left",
    "record_calibration",
    "record_reading",
    "register_card",
    "reopen_damper",
    "second_check",
    "settle_declined",
    "strike_photo",
    "swap_line",
    "swap_part",
    "take_back_part",
    "take_off_damper",
    "take_out_of_use",
    "take_present_sheet",
    "take_up_part",
    "want_call",
    "withdraw_question",
]
