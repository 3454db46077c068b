"""Planning bench days: of two who want the last hour, one gets it and the other is told."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.calc.bench_time import BenchDay, Planned, first_fit, hours, named, run_from, why_not
from shop.calc.errors import OutOfRange
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.specs.labour import labour_for
from shop.workorders.bench_time import HORIZON, Bench, Proposal, propose_for
from shop.workorders.models import BenchBook, BenchPlan, WorkOrder
from shop.workorders.waiting import short_parts_of

HOW_ALL_THE_SAME = "Take another day, or tick “Book it all the same” and say why."


def lock_bench_book() -> None:
    """From here to the end of the transaction nobody else plans. The last lock of all: nothing is locked after it."""
    if not BenchBook.objects.select_for_update().filter(pk=1).exists():
        BenchBook.objects.bulk_create([BenchBook(pk=1)], ignore_conflicts=True)
    BenchBook.objects.select_for_update().get(pk=1)


def plan_days(
    *,
    order: WorkOrder,
    minutes: int,
    bench_from: date | None = None,
    proposed: date | None = None,
    anyway: bool = False,
    anyway_why: str = "",
    at: datetime,
) -> datetime | None:
    """Put an order's minutes on the first days that fit, or on those from bench_from on; the moment at which they end.

    None when the shop has no bench hours: then nothing is planned. proposed is the first day that the desk was shown:
    when it is gone meanwhile, Conflict "taken". A day that is full or lies before the parts is refused unless anyway,
    with a reason that stands on the day sheet. Call it last in a transaction: it locks the book of bench days.
    """
    lock_bench_book()
    today = local_day(at)
    short = short_parts_of([order], today).get(order.pk, [])
    found = propose_for(minutes, "", short, order.arrives_on, at, order)
    over = ""
    if not found.set_up:
        if bench_from:
            raise refused("bench_from", "Nobody has bench hours yet. A manager enters them first.", "no_hours")
        return None
    if bench_from is None:
        plan = _first_that_fits(found, proposed)
        ends = found.promised_for
    else:
        bench = Bench.of(bench_from, bench_from + HORIZON, at, without=order)
        plan, over = _from_the_day(order, found, bench, bench_from, proposed, anyway, anyway_why.strip())
        ends = bench.end_of(plan)
    order.bench_plan.filter(on__gte=today if order.checked_in_at else date.min).delete()
    BenchPlan.objects.bulk_create(BenchPlan(order=order, on=one.on, minutes=one.minutes) for one in plan)
    order.bench_over_why = over or None
    return ends


def _first_that_fits(found: Proposal, proposed: date | None) -> list[Planned]:
    if not found.plan:
        words = (
            f"No day within {HORIZON.days // 7} weeks has room for {hours(found.minutes)}. Give the day on which the "
            "work begins, tick “Book it all the same” and say why."
        )
        raise refused("bench_from", words, "full")
    if proposed and found.first_day != proposed:
        words = (
            f"The first day that fits is now {named(found.first_day, found.today)}, no longer "
            f"{named(proposed, found.today)}. Look at the promise, tell the customer, then book again."
        )
        raise Conflict({"bench_from": [ValidationError(words, code="taken")]})
    return found.plan


def _from_the_day(order, found, bench, bench_from, proposed, anyway, anyway_why) -> tuple[list[Planned], str]:
    day, minutes = bench.days[0], found.minutes
    _check_day(order, found, day)
    fit = first_fit(minutes, bench.days)
    fits = bool(fit) and fit[0].on == bench_from
    missing = [one for one in found.short if one.day and one.day > bench_from]
    if fits and not missing:
        return fit, ""
    if anyway:
        if not anyway_why:
            raise refused("anyway_why", "Say why it is booked all the same: it stands on the day sheet.", "why_missing")
        return fit if fits else _all_the_same(minutes, bench), anyway_why
    name = named(bench_from, found.today)
    why = [] if fits else [f"{name}: {why_not(day, minutes)}, and the job takes {hours(minutes)}."]
    if missing:
        why.append(f"Before the parts: {'; '.join(one.in_words(found.today) for one in missing)}.")
    taken = not fits and proposed == bench_from
    error = ValidationError(
        f"{' '.join(why)} {_first_in_words(found)} {HOW_ALL_THE_SAME}", code="taken" if taken else "full"
    )
    raise (Conflict if taken else ValidationError)({"bench_from": [error]})


def _all_the_same(minutes: int, bench: Bench) -> list[Planned]:
    try:
        return run_from(minutes, bench.days)
    except OutOfRange as error:
        words = f"Not even empty benches do {hours(minutes)} within {HORIZON.days // 7} weeks from then on."
        raise refused("bench_from", words, "never") from error


def _check_day(order: WorkOrder, found: Proposal, day: BenchDay) -> None:
    name = named(day.on, found.today)
    if day.on < found.today:
        raise refused("bench_from", f"{name} is past. Give today or a later day.", "past")
    if day.on < order.arrives_on:
        words = f"{name} lies before the day of arrival, {named(order.arrives_on, found.today)}."
        raise refused("bench_from", words, "before_arrival")
    if not day.minutes:
        words = f"{name}: {day.why_none or 'nobody is at the benches'}. {_first_in_words(found)}"
        raise refused("bench_from", words, "closed")


def _first_in_words(found: Proposal) -> str:
    if not found.plan:
        return f"No day within {HORIZON.days // 7} weeks fits."
    return f"The first day that fits is {named(found.first_day, found.today)}."


def labour_of(order: WorkOrder) -> int:
    """The bench minutes of an order's dampers by today's labour times."""
    jobs = order.jobs.kept().select_related("damper__model")
    return labour_for([job.damper.model for job in jobs]).minutes


def shrink_plan(*, order: WorkOrder, minutes: int) -> None:
    """Fewer minutes than were planned: the last days are freed first."""
    for row in order.bench_plan.order_by("-on"):
        over = order.bench_minutes - minutes
        if over <= 0:
            break
        order.bench_minutes -= min(over, row.minutes)
        if over >= row.minutes:
            row.delete()
        else:
            row.minutes -= over
            row.save(update_fields=["minutes"])
    order.bench_minutes = minutes


def check_promise(promised_for: datetime, ends: datetime | None, promise_anyway: bool, at: datetime) -> None:
    """Refused on promised_for when it lies before the planned bench time ends, or on a day without anybody here."""
    if ends is None or promise_anyway:
        return
    today, day = local_day(at), local_day(promised_for)
    if promised_for < ends:
        words = (
            f"The benches finish with it on {named(local_day(ends), today)} at {wall(ends):%H:%M}, after this promise. "
            "Promise that or later, or tick “Promise it all the same”."
        )
        raise refused("promised_for", words, "before_bench")
    shift = Bench.of(day, day, at).calendar.shift(day)
    if shift.closes is None:
        words = (
            f"{named(day, today)}: {shift.why_none}, so nobody is here to hand it back. "
            "Promise another day, or tick “Promise it all the same”."
        )
        raise refused("promised_for", words, "closed")


def wall(at: datetime) -> datetime:
    """A moment as the shop's clock shows it."""
    return timezone.localtime(at, timezone.get_default_timezone())
