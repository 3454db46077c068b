"""Reorder points that a manager sets by hand."""

from datetime import datetime

from django.db import transaction

from shop.core.amounts import stock_amount
from shop.core.errors import refused
from shop.core.rows import one_line
from shop.parts.models import Part, ReorderFix
from shop.parts.services.stock import check_not_too_much
from shop.staff.models import User
from shop.staff.services import note


@transaction.atomic
def fix_reorder(*, part: Part, point: int, amount: int, why: str, by: User, at: datetime) -> ReorderFix:
    """Set a part's reorder point and order quantity by hand, in base units; amount 0: it is not ordered again."""
    part = Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    why = one_line(why)
    for field, value in (("point", point), ("amount", amount)):
        if value < 0:
            raise refused(field, f"{stock_amount(value, part.measure)} cannot be. Give zero or more.", "below_zero")
        check_not_too_much(part, value, field)
    if not why:
        raise refused("why", "Say why it is set by hand: a season that begins, a part that ends.", "reason")
    fix, _ = ReorderFix.objects.update_or_create(
        part=part, defaults={"point": point, "amount": amount, "why": why[:200], "set_by": by, "set_at": at}
    )
    told = f"{stock_amount(amount, part.measure)} at {stock_amount(point, part.measure)}" if amount else "no more"
    note(who=by, kind="part", key=part.pk, what=f"reordered by hand: {told} ({why})", at=at)
    return fix


@transaction.atomic
def unfix_reorder(*, part: Part, by: User, at: datetime) -> Part:
    """Go by the reckoned reorder point again. Twice is as good as once."""
    if ReorderFix.objects.filter(part=part).delete()[0]:
        note(who=by, kind="part", key=part.pk, what="reordered as reckoned again", at=at)
    return part
