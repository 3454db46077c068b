"""The stock room of the demo shop: lots of oil, one of them past its date, and a count of one bin under way."""

from datetime import timedelta

from shop.parts.models import Part
from shop.parts.services import correct, enter_counts, receive, set_keeping, start_take
from shop.staff.models import User


def ledger(*, desk: User, bench: User, now) -> None:
    """Needs stock with a fluid in containers; adds to it and changes nothing that is there."""
    oil = Part.objects.filter(measure="volume", containers__isnull=False).order_by("pk").first()
    size = oil.containers.order_by("size").first()
    set_keeping(part=oil, days=180, by=desk, at=now - timedelta(days=300))
    came = now - timedelta(days=200)
    for code, days, at in (("K-2207", 190, came), ("K-2311", 560, now - timedelta(days=20))):
        receive(
            part=oil, amount=size.size, container=size, lot_code=code, use_by=(came + timedelta(days=days)).date(),
            by=desk, at=at, reason="delivery note 4471",
        )  # fmt: skip
    kit = Part.objects.filter(measure="count").order_by("bin", "number").first()
    wrong = receive(part=kit, amount=4, by=desk, at=now - timedelta(days=9), reason="delivery note 4502")
    correct(movement=wrong, right=0, reason="entered twice", by=desk, at=now - timedelta(days=9))
    take = start_take(bin_from="F-05", by=desk, at=now - timedelta(hours=1))
    row = take.rows.first()
    enter_counts(take=take, figures=[(row, row.expected)], by=bench, at=now - timedelta(minutes=30))
