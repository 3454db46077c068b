"""The check character of a 17-character vehicle number: a warning at most, never a refusal.

49 CFR 565 covers road vehicles. Off-road machines may carry a product identification number whose ninth character is a
letter other than X, so that it fails by design.
"""

from dataclasses import dataclass

LENGTH = 17
CHECK_PLACE = 8  # the ninth
# 49 CFR 565.15(c), table III: letters run 1 to 9 in three rows with I, O and Q left out; P and R keep their places.
VALUES = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)  # table IV


@dataclass(frozen=True, slots=True)
class VinCheck:
    """What the check says. reason: ok, wrong_length, illegal_character, letter_in_position_9, check_digit_mismatch.

    words is a sentence to show beside the field, empty when all is well. expected is the check character the rest of
    the number asks for, empty when it cannot be computed.
    """

    number: str
    ok: bool
    expected: str
    reason: str
    words: str


def check(text: str) -> VinCheck:
    """Judge a number as typed; blanks, hyphens and case do not matter.

    Weighted sum of the characters' values modulo 11, 10 written as X. The check cannot see characters of equal value
    swapped (A, J and 1; B, K, S and 2 ...). Never raises. Source: 49 CFR 565.15(c).
    """
    number = "".join(str(text).split()).replace("-", "").upper()
    if len(number) != LENGTH:
        words = f"A road vehicle's number has {LENGTH} characters; this one has {len(number)}. Kept as typed."
        return VinCheck(number, False, "", "wrong_length", words)
    if strange := sorted({one for one in number if one not in VALUES}):
        words = f"A road vehicle's number has no {', '.join(strange)} (I, O and Q are left out). Kept as typed."
        return VinCheck(number, False, "", "illegal_character", words)
    rest = sum(VALUES[one] * weight for one, weight in zip(number, WEIGHTS, strict=True)) % 11
    expected = "X" if rest == 10 else str(rest)
    found = number[CHECK_PLACE]
    if found == expected:
        return VinCheck(number, True, expected, "ok", "")
    if found.isalpha() and found != "X":
        words = f"The ninth character is the letter {found}: an off-road number, it seems. No check is possible."
        return VinCheck(number, False, expected, "letter_in_position_9", words)
    words = f"The ninth character is {found}, the rest asks for {expected}. Compare it with the plate; kept as typed."
    return VinCheck(number, False, expected, "check_digit_mismatch", words)
