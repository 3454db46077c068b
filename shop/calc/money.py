"""Money: exact decimals, rounded to the cent once, and read as people type it."""

import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

from shop.calc.errors import OutOfRange, Unreadable

CENT = Decimal("0.01")
MOST = Decimal("9999999.99")  # more of it for one order is a slip of the finger
MOST_CHARACTERS = 20
WRITE_IT = "an amount like 420 or 420.50"
_BLANKS = re.compile(r"[\s   '’]")
_IN_DOUBT = re.compile(r"[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_GROUPED = re.compile(r"\d{1,3}(?P<sep>[.,])\d{3}((?P=sep)\d{3})*([.,]\d{1,2})?", re.ASCII)


def to_cent(amount: Decimal) -> Decimal:
    """An amount with two decimals; half a cent goes away from zero, for what is owed back as well.

    Decimal in, Decimal out. Raises OutOfRange for what is no finite Decimal.
    Source: round half up, as the Streamlined Sales and Use Tax Agreement, s. 324, has it for tax.
    """
    if not isinstance(amount, Decimal) or not amount.is_finite():
        raise OutOfRange("amount", amount, "a finite decimal amount")
    return amount.quantize(CENT, rounding=ROUND_HALF_UP)


def total(amounts: Iterable[Decimal]) -> Decimal:
    """What amounts come to, each rounded to the cent first: so what stands on a paper adds up to the cent."""
    return sum((to_cent(one) for one in amounts), Decimal("0.00"))


def parse(text: str, field: str = "amount", *, decimals: int = 2, most: Decimal = MOST) -> Decimal:
    """An amount as typed: "420", "420.5", "420,50", "1 420.50", "1,234.56", "1.234,56". Two decimals come out, or more.

    Thousands may be grouped where another sign parts the decimals, which makes both plain. A point or comma alone
    before exactly three figures may part thousands or decimals, so that is asked about and not guessed. decimals is how
    many there may be: prices of small things have four. Raises Unreadable, or OutOfRange beyond most.
    """
    bare = _BLANKS.sub("", str(text))
    if len(bare) > MOST_CHARACTERS:
        raise Unreadable(field, text, WRITE_IT)
    if plain := _plain(bare, decimals):
        amount = Decimal(plain)
        if amount > most:
            raise OutOfRange(field, text, f"an amount of at most {most}")
        return amount if amount.as_tuple().exponent < -2 else amount.quantize(CENT)
    if re.fullmatch(r"[\d.,]*\d[\d.,]*", bare, re.ASCII) and (_GROUPED.fullmatch(bare) or {".", ","} <= set(bare)):
        raise Unreadable(field, text, _asked(bare, decimals))
    raise Unreadable(field, text, WRITE_IT)


def _plain(bare: str, decimals: int) -> str:
    """The amount as Decimal reads it; empty when it cannot be read in one way only."""
    if _IN_DOUBT.fullmatch(bare):
        return ""
    if re.fullmatch(rf"\d+([.,]\d{{1,{decimals}}})?", bare, re.ASCII):
        return bare.replace(",", ".")
    for group, sign in (",", "."), (".", ","):
        if re.fullmatch(rf"[1-9]\d{{0,2}}(\{group}\d{{3}})+\{sign}\d{{1,{decimals}}}", bare, re.ASCII):
            return bare.replace(group, "").replace(sign, ".")
    return ""


def _asked(bare: str, decimals: int) -> str:
    """Which two amounts a text with parted thousands may mean."""
    last = max(bare.rfind("."), bare.rfind(","))
    whole, cents = re.sub(r"[.,]", "", bare[:last]), bare[last + 1 :]
    small = f"{whole}.{cents}0" if decimals > 3 else f"{whole}.{cents[:2]}"
    if len(cents) == 3 and re.search(r"[.,]", bare[:last]) is None:
        return f"it without a sign between the thousands: {whole}{cents} if that is meant, or {small}"
    plain = f"{whole}{cents}" if len(cents) == 3 else f"{whole}.{cents}"
    return f"it without a sign between the thousands: {plain} if that is meant"
