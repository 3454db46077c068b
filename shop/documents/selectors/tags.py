from dataclasses import dataclass

from django.conf import settings

from shop.documents.selectors import words
from shop.workorders.models import DamperJob, WorkOrder


@dataclass(frozen=True)
class Tag:
    """What hangs on one damper and on its bag of parts."""

    shop: str
    number: str
    tag: str
    where: str
    model: str
    model_year: str
    serial: str
    vehicle: str
    customer: str
    promised: str
    page: str  # address of the damper's page on the tablet


def tags(order: WorkOrder) -> list[Tag]:
    """A tag for each damper of the order."""
    order = WorkOrder.objects.select_related("customer", "vehicle__model").get(pk=order.pk)
    return [_tag(order, job) for job in order.jobs.kept().select_related("damper__model")]


def _tag(order: WorkOrder, job: DamperJob) -> Tag:
    return Tag(
        shop=settings.SHOP["name"],
        number=order.number,
        tag=job.tag,
        where=job.damper.where(),
        model=str(job.damper.model),
        model_year=str(job.damper.model_year),
        serial=job.damper.serial,
        vehicle=words.vehicle(order),
        customer=words.short_name(order.customer.name),
        promised=words.moment(order.promised_for),
        page=words.site_address("tablet:job", job.pk),
    )
