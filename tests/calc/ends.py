"""The ends of an allowed range: what the sentence tells is what the function keeps."""

import math

import pytest

from shop.calc.errors import OutOfRange


def assert_ends(call, low: float, high: float, *, above: bool = False, below: bool = False) -> None:
    """call takes low and high and refuses the next float outside; above and below: the end itself is refused too, and
    what lies a ten-thousandth of the range inside is taken."""
    step = (high - low) / 10_000
    for end, outside, inside, refused in ((low, -math.inf, low + step, above), (high, math.inf, high - step, below)):
        with pytest.raises(OutOfRange):
            call(math.nextafter(end, outside))
        if refused:
            with pytest.raises(OutOfRange):
                call(end)
            call(inside)
        else:
            call(end)
