"""Whether a VIN or frame number reads like a slip of the pen: something to look at, never a refusal. Writes nothing."""

from shop.calc import vin

FRAME_NUMBERS = (
    "Many off-road frame numbers do not use this check (49 CFR 565), so it may be right all the same: compare it with "
    "the frame plate."
)


def doubt_about(number: str) -> str:
    """Why a number of 17 characters fails the check of road vehicles, in words; empty when it passes, or is no such."""
    found = vin.check(number)
    if found.ok or found.reason == "wrong_length":
        return ""
    if not found.expected:
        strange = " and ".join(sorted({one for one in found.number if one not in vin.VALUES}))
        return f"It holds {strange}, and a VIN has only digits and letters without I, O and Q. {FRAME_NUMBERS}"
    stands = f"The ninth character is {found.number[vin.CHECK_PLACE]}"
    return f"{stands}; worked out from the other sixteen it would be {found.expected}. {FRAME_NUMBERS}"
