from collections.abc import Iterable
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.intervals import day_in_words
from shop.calc.units import Entered
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.customers import services as customers
from shop.customers.merging import lock_present
from shop.customers.models import Customer, ReadingSource, Vehicle
from shop.dampers.clicks import check_clicks
from shop.dampers.measures import FOUND_AND_LEFT, Measure
from shop.dampers.models import Damper
from shop.picklists import services as picklists
from shop.picklists.models import PickList
from shop.specs.selectors import current_procedure
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.day import unfinished_in_words
from shop.workorders.kit import needs, with_kit
from shop.workorders.models import DamperJob, JobStatus, Moment, OrderStatus, Reading, WorkOrder
from shop.workorders.selectors import sheets_of
from shop.workorders.services.recording import check_bench_temperature, check_figure

CHECKED_IN_ALREADY = "%(order)s is %(status)s: it can be checked in only once. Open its page to see how far it is."


@transaction.atomic
def book(
    *,
    customer: Customer,
    vehicle: Vehicle | None,
    dampers: list[Damper],
    complaint: str,
    arrives_on: date,
    promised_for: datetime,
    by: User,
    at: datetime,
) -> WorkOrder:
    """Book a rebuild and hold the parts for it that are there."""
    if vehicle and vehicle.customer_id != customer.pk:
        raise ValidationError({"vehicle": f"The {vehicle} belongs to another customer."})
    if vehicle:
        vehicle = Vehicle.objects.select_related("model").get(pk=vehicle.pk)  # it may have been sold since it was read
    if vehicle and vehicle.sold_on:
        raise ValidationError(
            {"vehicle": f"The {vehicle} was sold on {day_in_words(vehicle.sold_on)}. Book its dampers for their owner."}
        )
    if arrives_on < local_day(at):
        raise ValidationError({"arrives_on": f"{day_in_words(arrives_on)} is past. Give today or a later day."})
    if local_day(promised_for) < arrives_on:
        raise ValidationError({"promised_for": "The promise lies before the day of arrival."})
    dampers = list(
        Damper.objects.select_for_update(of=("self",))
        .filter(pk__in=[damper.pk for damper in dampers])
        .select_related("model", "vehicle__model")
        .prefetch_related("model__kit_lines")
        .order_by("pk")
    )
    customer = lock_present(customer)  # behind the dampers, as merging two customers does
    _check_dampers(customer, vehicle, dampers)
    order = WorkOrder(
        customer=customer,
        vehicle=vehicle,
        complaint=complaint.strip(),
        arrives_on=arrives_on,
        promised_for=promised_for,
        booked_by=by,
        booked_at=at,
        pick_list=PickList.objects.create(title="new", made_at=at),
    )
    order.full_clean()
    order.save()
    jobs = []
    for index, damper in enumerate(dampers, 1):
        job = DamperJob(order=order, damper=damper, index=index)
        job.full_clean()
        job.save()
        jobs.append(job)
    order.pick_list.title = order.number
    order.pick_list.save(update_fields=["title"])
    _fill_pick_list(order, sheets_of(jobs), at)
    with_dampers = f"{len(jobs)} damper{'s' if len(jobs) > 1 else ''}"
    note(who=by, kind="order", key=order.pk, what=f"booked with {with_dampers}", at=at)
    return order


def _check_dampers(customer: Customer, vehicle: Vehicle | None, dampers: list[Damper]) -> None:
    if not dampers:
        raise ValidationError({"dampers": "Choose at least one damper."})
    refusals = []
    busy = set(
        DamperJob.objects.filter(damper__in=dampers, status__in=[JobStatus.BOOKED, JobStatus.OPEN]).values_list(
            "damper", flat=True
        )
    )
    for damper in dampers:
        which = f"{damper}, {damper.where()},"
        if damper.customer_id != customer.pk:
            refusals.append((f"{which} belongs to another customer.", "another_customer"))
        elif damper.vehicle_id != (vehicle.pk if vehicle else None):
            refusals.append((f"{which} does not sit on the chosen vehicle. Book it by itself.", "not_on_vehicle"))
        elif not damper.model.serviceable:
            words = f"{damper.model}, {damper.where()}, is not serviced here: {damper.model.why_not}"
            refusals.append((words, "not_serviceable"))
        elif damper.pk in busy:
            refusals.append((f"{which} is booked or on the bench already. Finish that order first.", "booked"))
    if refusals:
        raise ValidationError({"dampers": [ValidationError(words, code=code) for words, code in refusals]})


@transaction.atomic
def check_in(
    *,
    order: WorkOrder,
    meters: list[tuple[str, Entered]],
    as_found: list[tuple[DamperJob, str, Entered]],
    complaint: str | None = None,
    bench_temperature: Entered | None = None,
    confirmed: bool = False,
    by: User,
    at: datetime,
) -> WorkOrder:
    """Take the dampers in: note meter and settings as found, freeze the figures and the procedure into each job.

    With the bench temperature of the day the card says what charge to aim at.
    Refused with "doubtful" when a meter hardly fits its earlier readings; confirmed=True settles it.
    """
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("vehicle", "pick_list").get(pk=order.pk)
    if order.status != OrderStatus.BOOKED:
        raise Conflict(
            CHECKED_IN_ALREADY, code="checked_in", params={"order": order, "status": order.get_status_display()}
        )
    check_bench_temperature(bench_temperature)
    procedure = current_procedure()
    if procedure is None:
        raise ValidationError("There is no current procedure. A manager has to choose one first.", code="no_procedure")
    if meters and not order.vehicle:
        raise ValidationError({"meters": "Loose dampers have no meter. Leave the meter empty."})
    if meters:
        customers.check_meters(vehicle=order.vehicle, meters=meters, on=local_day(at), confirmed=confirmed)
    for meter, entered in meters:
        customers.record_meter(
            vehicle=order.vehicle,
            meter=meter,
            entered=entered,
            read_on=local_day(at),
            source=ReadingSource.DESK,
            by=by,
            at=at,
        )
    jobs = {job.pk: job for job in with_kit(order).prefetch_related("damper__model__adjusters")}
    _check_serviced(order, jobs.values())
    frozen = sheets_of(jobs.values())
    for job, sheet in frozen.items():
        job.order, job.spec, job.procedure, job.status = order, sheet.stored(), procedure, JobStatus.OPEN
        job.save(update_fields=["spec", "procedure", "status"])
    noted = set()
    for job, measure, entered in as_found:
        if job.pk not in jobs:
            raise ValidationError({"as_found": f"Damper {job.tag} is not part of {order}."})
        if measure not in FOUND_AND_LEFT:
            raise ValidationError({"as_found": f"{Measure(measure).label} is not noted at check-in."})
        if (job.pk, measure) in noted:
            words = f"{Measure(measure).label} of damper {job.tag} is given twice. Give it once."
            raise refused("as_found", words, "twice")
        noted.add((job.pk, measure))
        check_figure(measure, entered, field="as_found")
        damper = jobs[job.pk].damper
        check_clicks(damper.model, measure, entered, field="as_found", where=damper.where())
        reading = Reading(
            job=jobs[job.pk],
            measure=measure,
            moment=Moment.FOUND,
            value_si=entered.si,
            figures=entered.figures,
            unit=entered.unit,
            by=by,
            at=at,
        )
        reading.full_clean()
        reading.save()
    order.status, order.checked_in_by, order.checked_in_at = OrderStatus.ON_BENCH, by, at
    order.bench_temperature_k = bench_temperature.si if bench_temperature else None
    if complaint is not None:
        order.complaint = complaint.strip()
    order.save(update_fields=["status", "checked_in_by", "checked_in_at", "bench_temperature_k", "complaint"])
    _fill_pick_list(order, frozen, at)
    note(who=by, kind="order", key=order.pk, what="checked in", at=at)
    return order


def _check_serviced(order: WorkOrder, jobs: Iterable[DamperJob]) -> None:
    """A model may have been marked as not serviced here since the booking; the words are for the customer."""
    refusals = [
        ValidationError(
            f"{job.damper.model}, {job.damper.where()}, tag {job.tag}, is not serviced here: "
            f"{job.damper.model.why_not.rstrip('.')}. Tell the customer, and take it off {order}, "
            "or call the order off.",
            code="not_serviceable",
        )
        for job in jobs
        if not job.damper.model.serviceable
    ]
    if refusals:
        raise ValidationError(refusals)


def fill_anew(*, order: WorkOrder, at: datetime) -> None:
    """Reckon anew what a booked order takes; one that is checked in keeps what its frozen figures ask for."""
    if order.status != OrderStatus.BOOKED:
        return
    _fill_pick_list(order, sheets_of(with_kit(order)), at)


def _fill_pick_list(order, sheets, at) -> None:
    wanted = [need for job, sheet in sheets.items() for need in needs(job, sheet)]
    picklists.fill(pick_list=order.pick_list, needs=wanted, at=at)


@transaction.atomic
def hand_back(
    *,
    order: WorkOrder,
    wants_reminders: bool | None = None,
    told_unfinished: bool = False,
    by: User,
    at: datetime,
) -> WorkOrder:
    """The customer has it again. wants_reminders is the answer to the question, None when it was not asked.

    Refused on told_unfinished when a damper was closed unfinished and the customer has not been told.
    """
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("customer").get(pk=order.pk)
    if order.status == OrderStatus.HANDED_BACK:
        return order
    if order.status != OrderStatus.READY:
        raise Conflict(
            f"{order} is {order.get_status_display()}: it can be handed back when it is ready.", code="not_ready"
        )
    unfinished = unfinished_in_words(list(order.jobs.kept().select_related("damper")))
    if unfinished and not told_unfinished:
        words = f"{unfinished} Tell the customer before it is handed back, then say so here."
        raise refused("told_unfinished", words, "not_told")
    if wants_reminders is not None:
        how = f"asked at hand-back of {order}"
        customers.record_consent(customer=order.customer, wants=wants_reminders, by=by, at=at, how=how)
    order.status, order.handed_back_by, order.handed_back_at = OrderStatus.HANDED_BACK, by, at
    order.save(update_fields=["status", "handed_back_by", "handed_back_at"])
    told = f"; the customer was told: {unfinished}" if unfinished else ""
    note(who=by, kind="order", key=order.pk, what=f"handed back{told}", at=at)
    return order


@transaction.atomic
def call_off(*, order: WorkOrder, why: str, by: User, at: datetime) -> WorkOrder:
    """The job does not take place; what was held for it is free again."""
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("pick_list").get(pk=order.pk)
    if order.status == OrderStatus.CALLED_OFF:
        return order
    if order.status != OrderStatus.BOOKED:
        raise Conflict(
            f"{order} is {order.get_status_display()}: only a booked order can be called off.", code="not_booked"
        )
    order.status, order.called_off_why = OrderStatus.CALLED_OFF, why.strip()
    order.full_clean()
    order.save(update_fields=["status", "called_off_why"])
    order.jobs.update(status=JobStatus.CALLED_OFF)
    picklists.empty(pick_list=order.pick_list, at=at)
    note(who=by, kind="order", key=order.pk, what=f"called off: {why.strip()}", at=at)
    return order


@transaction.atomic
def drop_damper(*, job: DamperJob, why: str, by: User, at: datetime) -> DamperJob:
    """Take one damper off a booked order that goes on without it; what was held for it is free again.

    Not the last one: then the order is called off. Twice is as good as once.
    """
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("pick_list").get(pk=job.order_id)
    job = order.jobs.select_for_update(of=("self",)).get(pk=job.pk)
    if order.status != OrderStatus.BOOKED:
        raise Conflict(
            f"{order} is {order.get_status_display()}: a damper can be taken off only while it is booked.",
            code="not_booked",
        )
    if job.status == JobStatus.CALLED_OFF:
        return job
    if not why.strip():
        raise refused("why", "Say why the damper is taken off the order.", "why_missing")
    if order.jobs.kept().count() == 1:
        raise Conflict(f"{job.tag} is the only damper of {order}: call the order off instead.", code="last_damper")
    picklists.drop(pick_list=order.pick_list, tag=job.tag, at=at)
    job.status = JobStatus.CALLED_OFF
    job.save(update_fields=["status"])
    fill_anew(order=order, at=at)
    note(who=by, kind="order", key=order.pk, what=f"damper {job.tag} is taken off: {why.strip()}", at=at)
    return job
