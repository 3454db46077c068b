"""Service intervals: when such dampers are due."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.units import Entered
from shop.core.rows import one_line
from shop.customers.models import Vehicle
from shop.dampers.models import Damper, DamperModel
from shop.specs.models import ServiceInterval
from shop.staff.models import User
from shop.staff.services import note as audit


@transaction.atomic
def set_interval(
    *,
    damper_model: DamperModel,
    months: int | None = None,
    distance: Entered | None = None,
    hours: Entered | None = None,
    source: str,
    by: User,
    at: datetime,
) -> ServiceInterval:
    """Say when such dampers are due, whichever comes first, in the place of what was said before.

    Marks the forecasts of the vehicles that carry one as stale.
    """
    damper_model = DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)
    given = {"months": months, "distance": distance and distance.si, "hours": hours and hours.si}
    for name, value in given.items():
        if value is not None and value <= 0:
            raise ValidationError({name: "Service cannot be due after zero. Give more, or leave it empty."})
    if not source.strip():
        raise ValidationError({"source": "Say where the interval comes from: document and page, or the shop's own."})
    interval = ServiceInterval.objects.filter(damper_model=damper_model).first()
    interval = interval or ServiceInterval(damper_model=damper_model)
    interval.months, interval.distance_m, interval.hours_s = given.values()
    interval.source = one_line(source)
    interval.full_clean()
    interval.save()
    # Locked in one order, like the forecasts that are computed meanwhile.
    carriers = Damper.objects.filter(model=damper_model).values("vehicle")
    stale = Vehicle.objects.filter(pk__in=carriers).order_by("pk").select_for_update(no_key=True)
    Vehicle.objects.filter(pk__in=list(stale.values_list("pk", flat=True))).update(forecast_stale=True)
    rules = [f"{months} months" if months else "", str(distance or ""), str(hours or "")]
    what = f"service interval: {' or '.join(filter(None, rules))} ({interval.source})"
    audit(who=by, kind="dampermodel", key=damper_model.pk, what=what, at=at)
    return interval
