from datetime import datetime

from django.db import transaction

from shop.workorders.models import CardRevision, WorkOrder


@transaction.atomic
def register_card(*, order: WorkOrder, digest: str, at: datetime) -> CardRevision:
    """The revision of the order's card with this content: the last one if it says the same, else the next number."""
    last = order.cards.order_by("-number").first()
    if last and last.digest == digest:
        return last
    WorkOrder.objects.select_for_update().get(pk=order.pk)
    last = order.cards.order_by("-number").first()
    if last and last.digest == digest:
        return last
    return CardRevision.objects.create(order=order, number=last.number + 1 if last else 1, digest=digest, at=at)
