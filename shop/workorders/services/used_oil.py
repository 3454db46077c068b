"""Oil drained from a damper on the bench, into the used-oil log."""

from datetime import date, datetime

from django.db import transaction

from shop.calc.units import Entered, figures
from shop.core.amounts import shop_unit
from shop.core.errors import refused
from shop.dampers.measures import Measure
from shop.parts.models import Drum, Fluid, OilEntry
from shop.parts.services import pour_in
from shop.staff.models import User
from shop.workorders.frozen import FrozenSheet
from shop.workorders.models import DamperJob


def oil_by_sheet(sheet: FrozenSheet) -> Entered | None:
    """The volume that a damper's sheet gives, in the shop's unit; None when it gives none. No allowance is in it."""
    value = sheet.values.get(Measure.OIL_VOLUME)
    if value is None:
        return None
    symbol = shop_unit("volume")
    text = figures(value.value_si, symbol)
    return Entered(text, float(text), symbol, value.value_si)


@transaction.atomic
def note_drained_oil(
    *,
    job: DamperJob,
    drum: Drum,
    look: str,
    entered: Entered | None = None,
    fluid: str = Fluid.OIL,
    on: date,
    sure: bool = False,
    by: User,
    at: datetime,
) -> OilEntry:
    """Note the oil drained from a damper. Without a volume, because nobody measured it, the sheet's, as an estimate."""
    estimated = entered is None
    if estimated:
        entered = oil_by_sheet(job.sheet)
        if entered is None:
            words = (
                f"No sheet gives the oil volume of {job.tag}, so it cannot be estimated. Measure it, or give a guess."
            )
            raise refused("entered", words, "no_sheet")
    return pour_in(
        drum=drum,
        fluid=fluid,
        entered=entered,
        on=on,
        look=look,
        bag=job.tag,
        source=f"{job.tag} {job.damper.where()}, {job.order.number}",
        estimated=estimated,
        sure=sure,
        by=by,
        at=at,
    )


def job_of_bag(tag: str) -> DamperJob | None:
    """The damper whose bag has this tag: "1042-3"."""
    order, _, index = tag.strip().partition("-")
    if not all(one.isascii() and one.isdigit() and len(one) < 10 for one in (order, index)):
        return None
    jobs = DamperJob.objects.select_related("damper", "order").prefetch_related("spec_changes")
    return jobs.filter(order=int(order) - 1000, index=int(index)).first()
