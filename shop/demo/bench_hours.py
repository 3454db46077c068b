"""The demo shop's working calendar, a day that is full, and an order that is late."""

from datetime import datetime, time, timedelta

from shop.core.clock import local_day
from shop.customers.services import create_customer
from shop.dampers.models import DamperModel
from shop.dampers.services import create_damper
from shop.specs.services import set_labour_time
from shop.staff.bench_calendar import BenchCalendar
from shop.staff.models import User
from shop.staff.services import add_absence, add_closed_day, set_bench_hours, set_working_hours
from shop.workorders import services as orders
from shop.workorders.bench_time import Bench

# Federal holidays of the United States by their rules, 5 U.S.C. 6103 (from memory), as an example of a shop's list.
YEARLY = [
    ("New Year's Day", {"month": 1, "day": 1}),
    ("Memorial Day", {"month": 5, "weekday": 0, "nth": -1}),
    ("Independence Day", {"month": 7, "day": 4}),
    ("Labor Day", {"month": 9, "weekday": 0, "nth": 1}),
    ("Thanksgiving Day", {"month": 11, "weekday": 3, "nth": 4}),
    ("Christmas Day", {"month": 12, "day": 25}),
]


def keep_hours(people: dict[str, User], models: dict[str, DamperModel], now: datetime) -> None:
    """Hours since long ago, the holidays, somebody's leave, and what a rebuild takes."""
    by, then = people["manager"], now - timedelta(days=399)
    week = [(time(8), time(17))] * 5 + [(time(8), time(12)), None]
    set_working_hours(from_day=local_day(then), week=week, by=by, at=then)
    for who, minutes in (("bench", 7 * 60), ("second", 6 * 60)):
        at_bench = [minutes] * 5 + [3 * 60 if who == "bench" else 0, 0]
        set_bench_hours(person=people[who], from_day=local_day(then), week=at_bench, by=by, at=then)
    for name, rule in YEARLY:
        add_closed_day(name=name, first_day=local_day(then), **rule, by=by, at=then)
    leave = local_day(now) + timedelta(days=8)
    add_absence(
        person=people["second"], first_day=leave, last_day=leave + timedelta(days=1), why="training", by=by, at=now
    )
    set_labour_time(minutes=75, order_minutes=30, by=by, at=then)
    set_labour_time(damper_model=models["E5"], minutes=50, by=by, at=then)


def open_at(moment: datetime) -> datetime:
    """The same time of day on the next day on which somebody is here then."""
    calendar = BenchCalendar(local_day(moment))
    while (end := calendar.shift(local_day(moment)).end()) is None or end < moment:
        moment += timedelta(days=1)
    return moment


def busy_days(people: dict[str, User], models: dict[str, DamperModel], now: datetime) -> None:
    """An order that is late, a day that is booked to its last minute, and one order beyond."""
    by = people["desk"]
    ada = create_customer(name="Ada Kessler-Moor", email="ada@example.org", phone="555-0163", by=by, at=now)
    then = now - timedelta(days=4)
    late = orders.book(
        **_job(ada, models["E5"], 1, local_day(then), "no damping for the first inch", by, then),
        promised_for=now - timedelta(hours=20),
        promise_anyway=True,
    )
    orders.check_in(order=late, meters=[], as_found=[], by=by, at=then)
    jonah = create_customer(name="Jonah Reyes-Whitlock", email="jonah@example.com", phone="555-0175", by=by, at=now)
    bench = Bench.of(local_day(now) + timedelta(days=2), local_day(now) + timedelta(days=14), now)
    day = next(one.on for one in bench.days if one.free > 6 * 60)
    order = orders.book(**_job(jonah, models["E5"], 4, day, "whole set, before the season", by, now), bench_from=day)
    left = Bench.of(day, day, now).days[0].free
    if left:
        minutes = order.bench_minutes + left
        why = "eight adjusters, all seized"
        orders.change_booking(
            order=order, version=order.version, minutes=minutes, bench_from=day, promise_anyway=True, why=why, by=by,
            at=now,
        )  # fmt: skip
    orders.book(
        **_job(ada, models["E5"], 1, day, "leaks at the cap", by, now),
        bench_from=day,
        anyway=True,
        anyway_why="race on Sunday, Tobias stays longer",
    )


def _job(customer, model, count, on, complaint, by, at) -> dict:
    dampers = [
        create_damper(
            customer=customer,
            position="",
            model=model,
            model_year=2015,
            serial=f"E5-{customer.pk}{n}{on:%d}",
            by=by,
            at=at,
        )
        for n in range(count)
    ]
    who = {"customer": customer, "vehicle": None, "dampers": dampers, "by": by, "at": at}
    return who | {"complaint": complaint, "arrives_on": on}
