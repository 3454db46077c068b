"""Bench hours, proposals, the day sheet, changed bookings and the telephone answer through the API."""

import pytest

from shop.staff.models import BenchHours
from tests import factories as make
from tests.api.conftest import refused
from tests.workorders.test_bench_time import FRIDAY, book_one, days, wall

pytestmark = pytest.mark.django_db
WEEK = [{"opens": "08:00", "closes": "17:00"}] * 5 + [None, None]


def set_up(as_manager, person):
    as_manager.made("bench-hours/shop/", {"from_day": "2026-11-25", "week": WEEK})
    as_manager.made(f"bench-hours/people/{person.pk}/", {"from_day": "2026-11-25", "week": [420] * 5 + [0, 0]})


def loose(count):
    customer = make.make_customer()
    return customer, [make.make_damper(customer=customer).pk for _ in range(count)]


def booking(customer, dampers, **given):
    return {"customer": customer.pk, "dampers": dampers, "complaint": "leaks", "arrives_on": "2026-11-26"} | given


def test_the_calendar_is_set_and_read_day_by_day(as_manager, at_desk, technician):
    set_up(as_manager, technician)
    friday = {"first_day": "2026-11-27", "last_day": "2026-11-27"}
    as_manager.made("absences/", friday | {"person": technician.pk, "minutes_left": 60, "why": "dentist"})
    holiday = {"name": "Thanksgiving Day", "first_day": "2026-11-25", "month": 11, "weekday": 3, "nth": 4}
    closed = as_manager.made("closed-days/", holiday)
    assert closed["rule"] == "every year on the fourth Thursday of November"
    rows = at_desk.get("bench-hours/", first="2026-11-25", last="2026-11-28").json()
    assert [(row["minutes"], row["free"], row["why_none"]) for row in rows] == [
        (420, 300, ""), (0, 0, "closed, Thanksgiving Day"), (60, 60, ""), (0, 0, "not a working day"),
    ]  # fmt: skip
    assert rows[2]["people"] == [{"id": technician.pk, "name": str(technician), "minutes": 60, "why_less": "dentist"}]
    as_manager.made(f"closed-days/{closed['id']}/end/")
    assert at_desk.get("closed-days/").json()["results"] == []
    refused(at_desk.get("bench-hours/", first="2026-11-25", last="2027-11-28"), 400, field="last")


def test_hours_that_cannot_be_are_refused(as_manager, technician):
    short = {"from_day": "2026-11-25", "week": [420]}
    refused(as_manager.post(f"bench-hours/people/{technician.pk}/", short), 400, field="week")
    past = {"from_day": "2026-11-24", "week": [420] * 7}
    assert "is past" in refused(as_manager.post(f"bench-hours/people/{technician.pk}/", past), 400, field="from_day")
    assert not BenchHours.objects.exists()


def test_a_proposal_is_read_and_booked_and_its_loss_is_a_409(as_manager, at_desk, technician):
    set_up(as_manager, technician)
    customer, dampers = loose(4)
    found = at_desk.made("work-orders/proposal/", {"dampers": dampers, "arrives_on": "2026-11-26"})
    assert (found["minutes"], found["first_day"]) == (330, "2026-11-26")
    assert found["plan"] == [{"day": "2026-11-26", "minutes": 330}]
    order = at_desk.made("work-orders/", booking(customer, dampers, proposed=found["first_day"]))
    assert order["bench_plan"] == found["plan"]
    assert order["promised_for"] == found["promised_for"]
    other, theirs = loose(4)
    answer = at_desk.post("work-orders/", booking(other, theirs, proposed="2026-11-26"))
    assert "now Friday 27" in refused(answer, 409, field="bench_from")
    full = at_desk.post("work-orders/", booking(other, theirs, bench_from="2026-11-26"))
    assert "The first day that fits is Friday 27." in refused(full, 400, field="bench_from")
    over = booking(other, theirs, bench_from="2026-11-26", anyway=True, anyway_why="race on Sunday")
    assert at_desk.made("work-orders/", over)["bench_over_why"] == "race on Sunday"


def test_a_booking_is_changed_with_its_version(at_desk):
    make.make_bench_hours()
    order = book_one(4)
    path = f"work-orders/{order.pk}/"
    version = at_desk.get(path).json()["version"]
    given = {"version": version, "arrives_on": "2026-11-27", "promised_for": "2026-11-27T17:00:00"}
    assert "Say why" in refused(at_desk.patch(path, given), 400, field="why")
    changed = at_desk.patch(path, given | {"why": "customer is away"}, key="one")
    assert changed.status_code == 200, changed.content
    assert at_desk.patch(path, given | {"why": "customer is away"}, key="one").json() == changed.json()
    assert days(order) == [(FRIDAY, 330)]
    refused(at_desk.patch(path, {"version": version, "complaint": "knocks"}), 409)


def test_the_day_sheet_and_the_telephone_answer(at_desk):
    make.make_bench_hours()
    order = book_one(4, promised_for=wall(FRIDAY, 16))
    sheet = at_desk.get("day/").json()
    assert [group["key"] for group in sheet["groups"]] == ["late", "arriving", "on_bench", "waiting", "ready", "coming"]
    row = sheet["groups"][1]["rows"][0]
    assert (row["number"], row["dampers"]) == (order.number, 4)
    assert sheet["ahead"][0]["words"] == "5.5 h of 7 h booked"
    answer = at_desk.get(f"work-orders/{order.pk}/answer/").json()
    assert answer == row["answer"]
    assert answer["ready"] == "Ready Friday 27 by 16:00, as promised."
    other = at_desk.get("day/", day="2026-11-26").json()
    assert [row["minutes"] for row in other["groups"][1]["rows"]] == [330]
    refused(at_desk.get("day/", day="soon"), 400, field="day")


def test_labour_times_are_read_and_set(as_manager, at_desk):
    model = make.make_damper_model()
    default = at_desk.get("labour-times/default/").json()
    assert (default["minutes"], default["order_minutes"], default["own"]) == (75, 30, False)
    as_manager.made("labour-times/default/", {"minutes": 60, "order_minutes": 20, "seen": default["seen"]})
    path = f"damper-models/{model.pk}/labour-time/"
    own = as_manager.made(path, {"minutes": 50, "seen": ""})
    assert (own["minutes"], own["own"]) == (50, True)
    refused(as_manager.post(path, {"minutes": 55, "seen": ""}), 409)
    assert as_manager.made(f"{path}remove/", {"seen": own["seen"]})["minutes"] == 60
