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
from shop.specs.labour import labour_for
from shop.specs.selectors import current_procedure
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.bench_time import plan_in_words
from shop.workorders.kit import needs, with_kit
from shop.workorders.models import Condition, DamperJob, JobStatus, Moment, OrderStatus, Reading, WorkOrder
from shop.workorders.selectors import sheets_of
from shop.workorders.services.agreements import NewAgreement, note_agreement, withdraw_waiting
from shop.workorders.services.bench_time import check_promise, labour_of, plan_days, shrink_plan
from shop.workorders.services.photos import KeptPicture, add_photos
from shop.workorders.services.recording import check_bench_temperature, check_figure
from shop.workorders.telephone import unfinished_in_words

CHECKED_IN_ALREADY = "%(order)s is %(status)s: it can be checked in only once. Open its page to see how far it is."


@transaction.atomic
def book(
    *,
    customer: Customer,
    vehicle: Vehicle | None,
    dampers: list[Damper],
    complaint: str,
    arrives_on: date,
    promised_for: datetime | None = None,
    bench_from: date | None = None,
    proposed: date | None = None,
    anyway: bool = False,
    anyway_why: str = "",
    promise_anyway: bool = False,
    by: User,
    at: datetime,
) -> WorkOrder:
    """Book a rebuild, hold the parts for it that are there, and plan its bench days.

    Without promised_for it is promised for the end of bench time of its last planned day. The rest: plan_days.
    """
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
    if promised_for and local_day(promised_for) < arrives_on:
        raise ValidationError({"promised_for": "The promise lies before the day of arrival."})
    dampers = lock_dampers(dampers)
    customer = lock_present(customer)  # behind the dampers, as merging two customers does
    check_dampers(customer, vehicle, dampers)
    order = WorkOrder(
        customer=customer,
        vehicle=vehicle,
        complaint=complaint.strip(),
        arrives_on=arrives_on,
        promised_for=promised_for or at,
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
    minutes = labour_for([damper.model for damper in dampers]).minutes
    ends = plan_days(
        order=order, minutes=minutes, bench_from=bench_from, proposed=proposed, anyway=anyway, anyway_why=anyway_why,
        at=at,
    )  # fmt: skip
    if ends is None and promised_for is None:
        raise refused("promised_for", "Give the day and the time.", "required")
    order.bench_minutes = minutes if ends else None
    order.promised_for = promised_for or ends
    check_promise(order.promised_for, ends, promise_anyway, at)
    order.save(update_fields=["bench_minutes", "bench_over_why", "promised_for"])
    with_dampers = f"{len(jobs)} damper{'s' if len(jobs) > 1 else ''}"
    note(who=by, kind="order", key=order.pk, what=f"booked with {with_dampers}{_bench_in_words(order, at)}", at=at)
    return order


def _bench_in_words(order: WorkOrder, at: datetime) -> str:
    plan = plan_in_words(order.bench_plan.all(), local_day(at))
    over = f", all the same: {order.bench_over_why}" if order.bench_over_why else ""
    return f", bench time {plan}{over}" if plan else ""


def lock_dampers(dampers: list[Damper]) -> list[Damper]:
    """These dampers under a lock, with all that an order of them asks, in one order."""
    return list(
        Damper.objects.select_for_update(of=("self",))
        .filter(pk__in=[damper.pk for damper in dampers])
        .select_related("model", "vehicle__model")
        .prefetch_related("model__kit_lines")
        .order_by("pk")
    )


def check_dampers(customer: Customer, vehicle: Vehicle | None, dampers: list[Damper]) -> None:
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
    conditions: Iterable[tuple[DamperJob | None, str, str]] = (),
    photos: Iterable[tuple[DamperJob | None, KeptPicture]] = (),
    agreed: NewAgreement | None = None,
    by: User,
    at: datetime,
) -> WorkOrder:
    """Take the dampers in: note meter and settings as found, freeze the figures and the procedure into each job.

    conditions are (damper or None for the whole, in words, what came along), photos likewise (damper or None, picture).
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
    _read_meters(order, meters, confirmed, by, at)
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
    _note_conditions(order, jobs, conditions, by, at)
    if photos:
        add_photos(order=order, photos=list(photos), by=by, at=at)
    if agreed:
        note_agreement(order=order, agreed=agreed, by=by, at=at)
    return order


def _read_meters(order: WorkOrder, meters: list[tuple[str, Entered]], confirmed: bool, by: User, at: datetime) -> None:
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


def _note_conditions(order: WorkOrder, jobs: dict, conditions, by: User, at: datetime) -> None:
    for job, words, came_along in conditions:
        if job and job.pk not in jobs:
            raise refused("conditions", f"Damper {job.tag} is not part of {order}.", "not_of_order")
        if words.strip() or came_along.strip():
            row = Condition(
                order=order, job=job, words=words.strip(), came_along=came_along.strip(), by=by, at=at
            )  # fmt: skip
            row.full_clean()
            row.save()


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


def fill_anew(*, order: WorkOrder, anew: Iterable[str] = (), at: datetime) -> None:
    """Reckon anew what a booked order takes; one that is checked in keeps what its frozen figures ask for.

    anew are the tags of bags for which also that goes which was taken up by hand.
    """
    if order.status != OrderStatus.BOOKED:
        return
    _fill_pick_list(order, sheets_of(with_kit(order)), at, anew)


def _fill_pick_list(order, sheets, at, anew=()) -> None:
    wanted = [need for job, sheet in sheets.items() for need in needs(job, sheet)]
    picklists.fill(pick_list=order.pick_list, needs=wanted, anew=anew, at=at)


@transaction.atomic
def hand_back(
    *,
    order: WorkOrder,
    wants_reminders: bool | None = None,
    told_unfinished: bool = False,
    collected_by: str = "",
    meters: Iterable[tuple[str, Entered]] = (),
    confirmed: bool = False,
    by: User,
    at: datetime,
) -> WorkOrder:
    """The customer has it again. wants_reminders is the answer to the question, None when it was not asked.

    collected_by names who took it; meters are read once more, and a doubtful one is asked about as at check-in.

    Refused on told_unfinished when a damper was closed unfinished and the customer has not been told.
    """
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("customer", "vehicle").get(pk=order.pk)
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
    _read_meters(order, list(meters), confirmed, by, at)
    if wants_reminders is not None:
        how = f"asked at hand-back of {order}"
        customers.record_consent(customer=order.customer, wants=wants_reminders, by=by, at=at, how=how)
    order.status, order.handed_back_by, order.handed_back_at = OrderStatus.HANDED_BACK, by, at
    order.collected_by = collected_by.strip()
    order.full_clean(exclude=["customer", "vehicle", "pick_list", "booked_by", "checked_in_by", "closed_by"])
    order.save(update_fields=["status", "handed_back_by", "handed_back_at", "collected_by"])
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
    withdraw_waiting(order=order, why=f"the order is called off: {why.strip()}", by=by, at=at)
    picklists.empty(pick_list=order.pick_list, at=at)
    order.bench_plan.all().delete()
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
    picklists.refuse_picked(pick_list=order.pick_list, tags=[job.tag])
    job.status = JobStatus.CALLED_OFF
    job.save(update_fields=["status"])
    withdraw_waiting(order=order, job=job, why=f"the damper is taken off the order: {why.strip()}", by=by, at=at)
    fill_anew(order=order, anew=[job.tag], at=at)
    if order.bench_minutes and not order.bench_minutes_why:
        shrink_plan(order=order, minutes=min(order.bench_minutes, labour_of(order)))
    order.version += 1
    order.save(update_fields=["bench_minutes", "version"])
    note(who=by, kind="order", key=order.pk, what=f"damper {job.tag} is taken off: {why.strip()}", at=at)
    return job
