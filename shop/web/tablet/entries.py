"""What one press of a button writes where that is more than one call of the domain: all of it or nothing."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.units import Entered
from shop.specs.models import Step
from shop.staff.models import User
from shop.web.pages import renamed
from shop.workorders import services
from shop.workorders.models import DamperJob, Moment, StepDone


@transaction.atomic
def record_as_left(*, job: DamperJob, step: Step, by: User, at: datetime, **entered: Entered | None) -> StepDone:
    """Note every setting that was typed, by the name of its measure, and sign the step."""
    for measure, figure in entered.items():
        if figure is None:
            continue
        try:
            services.record_reading(
                job=job, measure=measure, moment=Moment.LEFT, entered=figure, step=step, by=by, at=at
            )
        except ValidationError as refusal:
            raise renamed(refusal, entered=measure) from refusal
    return services.finish_step(job=job, step=step, by=by, at=at)
