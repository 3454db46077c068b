from datetime import UTC, datetime

import pytest
from django.urls import reverse

from shop.customers.models import Consent
from shop.dampers.models import Construction, Position
from shop.parts.models import Reservation, ReservationState
from shop.parts.selectors import stock_of
from shop.specs.models import SheetPosition, SheetStatus
from shop.specs.services import withdraw_sheet
from shop.workorders.models import DamperJob, OrderStatus, Reading, WorkOrder
from shop.workorders.services import close_job
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, make_family, make_vehicle_with_dampers, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
BOOK = reverse("desk:book")
JOB = {"complaint": "knocks over ruts", "promised_for_0": "2026-11-28", "promised_for_1": "16:00"}


def booked(at_desk, family=None, **given):
    """An order for the four dampers of a new customer, booked on the page."""
    vehicle = make_vehicle_with_dampers(family, **given)
    answer = send(at_desk, f"{BOOK}?vehicle={vehicle.pk}", **JOB)
    assert answer.status_code == 302, words(answer)
    return WorkOrder.objects.get()


def checked_in(at_desk, family=None, **typed):
    order = booked(at_desk, family)
    answer = send(at_desk, reverse("desk:check_in", args=[order.pk]), **typed)
    assert answer.status_code == 302, words(answer)
    order.refresh_from_db()
    return order


def close_all(order, manager):
    for job in order.jobs.all():
        close_job(job=job, override_reason="test of the pages", by=manager, at=NOON)


# --- booking ----------------------------------------------------------------------------------------------------------


def test_booking_goes_from_the_customer_to_the_vehicle_to_the_job(at_desk):
    vehicle = make_vehicle_with_dampers()
    whose = at_desk.get(BOOK, {"q": vehicle.customer.name})
    assert f"?customer={vehicle.customer_id}" in whose.content.decode()
    which = at_desk.get(BOOK, {"customer": vehicle.customer_id})
    assert f"?vehicle={vehicle.pk}" in which.content.decode()
    assert "4 dampers in the book" in words(which)
    answer = send(at_desk, f"{BOOK}?vehicle={vehicle.pk}", **JOB)
    page = words(at_desk.get(answer.url))
    assert "Rebuild of 4 dampers. All parts are held for it. Expected today, promised Sat 28 November 16:00." in page
    assert "knocks over ruts" in page


def test_a_customer_without_anything_is_led_to_a_vehicle_or_a_loose_damper(at_desk):
    row = make.make_customer()
    page = words(at_desk.get(BOOK, {"customer": row.pk}))
    assert "No vehicle is noted." in page
    assert "New loose damper" in page
    assert "No loose damper is in the book." in words(at_desk.get(BOOK, {"loose": row.pk}))


def test_loose_dampers_are_booked_without_a_vehicle(at_desk):
    row = make.make_customer()
    make.make_damper(customer=row)
    answer = send(at_desk, f"{BOOK}?loose={row.pk}", **JOB)
    assert "loose dampers" in words(at_desk.get(answer.url))
    assert WorkOrder.objects.get().vehicle is None


def test_a_damper_that_is_not_serviced_here_cannot_be_ticked_and_says_what_to_tell(at_desk):
    vehicle = make.make_vehicle()
    sealed = make.make_damper_model(
        construction=Construction.SEALED, serviceable=False, why_not="It is pressed shut. A new one is cheaper."
    )
    make.make_damper(vehicle, Position.FRONT_LEFT, model=sealed)
    free = make.make_damper(vehicle, Position.REAR_LEFT)
    url = f"{BOOK}?vehicle={vehicle.pk}"
    page = at_desk.get(url)
    assert "Tell the customer: It is pressed shut. A new one is cheaper." in words(page)
    assert form(page)["dampers"] == str(free.pk)

    forced = send(at_desk, url, dampers=[str(damper.pk) for damper in vehicle.dampers.all()], **JOB)
    assert forced.status_code == 422
    assert "is not serviced here: It is pressed shut." in words(forced)
    assert form(forced)["complaint"] == "knocks over ruts"
    assert not WorkOrder.objects.exists()


def test_a_damper_that_is_in_an_order_already_names_the_order(at_desk):
    order = booked(at_desk)
    url = f"{BOOK}?vehicle={order.vehicle_id}"
    page = at_desk.get(url)
    assert words(page).count(f"It is in {order} already (booked)") == 4
    forced = send(at_desk, url, dampers=[str(job.damper_id) for job in order.jobs.all()], **JOB)
    assert forced.status_code == 422
    assert "is booked or on the bench already" in words(forced)
    assert WorkOrder.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"dampers": []}, "Tick at least one damper."),
        ({"dampers": ["4711"]}, "This is none of the choices, or not any more."),
        ({"dampers": ["x"]}, "This is none of the choices, or not any more."),
        ({"complaint": ""}, "What the customer says: Nothing is typed here. Fill it in."),
        ({"complaint": "x" * 100_000}, "at most 1000 characters"),
        ({"arrives_on": "2026-11-24"}, "24 November 2026 is past. Give today or a later day."),
        ({"arrives_on": "soon"}, "This is no day of the calendar."),
        ({"arrives_on": "2026-12-01"}, "The promise lies before the day of arrival."),
        ({"promised_for_0": ""}, "Promised for: Give the day and the time."),
        ({"promised_for_1": "25:61"}, "This is no time of day."),
    ],
)
def test_a_booking_that_cannot_be_is_refused_and_what_was_typed_stays(at_desk, typed, told):
    vehicle = make_vehicle_with_dampers()
    answer = send(at_desk, f"{BOOK}?vehicle={vehicle.pk}", **JOB | typed)
    assert answer.status_code == 422
    assert told in words(answer)
    kept = form(answer)
    for name, value in (JOB | typed).items():
        if name != "dampers":
            assert kept[name] == value
    assert not WorkOrder.objects.exists()
    assert not Reservation.objects.exists()


def test_the_same_booking_sent_twice_is_one_order(at_desk):
    vehicle = make_vehicle_with_dampers()
    url = f"{BOOK}?vehicle={vehicle.pk}"
    filled = form(at_desk.get(url)) | JOB
    assert at_desk.post(url, filled).url == at_desk.post(url, filled).url
    assert WorkOrder.objects.count() == 1


def test_ticks_that_were_taken_off_stay_off_when_the_form_comes_back(at_desk):
    vehicle = make_vehicle_with_dampers()
    one = str(vehicle.dampers.first().pk)
    answer = send(at_desk, f"{BOOK}?vehicle={vehicle.pk}", **JOB | {"dampers": [one], "complaint": ""})
    assert form(answer)["dampers"] == one


@pytest.mark.parametrize("asked", ["?vehicle=x", "?vehicle=4711", "?customer=4711", "?loose=", f"?loose={10**30}"])
def test_booking_for_nobody_has_no_page(at_desk, asked):
    assert at_desk.get(BOOK + asked).status_code == 404


# --- check-in ---------------------------------------------------------------------------------------------------------


def test_check_in_names_the_sheet_that_will_be_frozen_for_each_damper(at_desk, manager):
    family = make_family()
    order = booked(at_desk, family)
    url = reverse("desk:check_in", args=[order.pk])
    sheet = family["sheets"][2]  # front, from 2015
    page = words(at_desk.get(url))
    assert page.count(f"Sheet {sheet}, chosen as: model years from 2015, front, any") == 2
    assert page.count(f"Entered by {sheet.entered_by}, verified by {sheet.verified_by}, 25 Nov 2026.") == 2

    for one in family["sheets"][2:]:
        withdraw_sheet(sheet=one, why="misread", by=manager, at=NOON)
    draft = make.make_sheet(
        family["damper_model"], position=SheetPosition.REAR, year_from=2015, status=SheetStatus.DRAFT
    )
    page = words(at_desk.get(url))
    assert page.count("No sheet. No sheet covers") == 2
    assert page.count(f"DRAFT Sheet {draft}, chosen as:") == 2


def test_check_in_notes_meters_and_settings_and_freezes_the_figures(at_desk):
    order = booked(at_desk)
    url = reverse("desk:check_in", args=[order.pk])
    job = order.jobs.first()
    typed = {
        "distance": "4218", "hours": "391", "complaint": "knocks, leaks",
        f"found_{job.pk}_rebound_clicks": "11", f"found_{job.pk}_preload_length": "3 1/2",
    }  # fmt: skip
    answer = send(at_desk, url, **typed)
    page = words(at_desk.get(answer.url))
    assert "is checked in" in page
    assert "0 of 4 dampers closed." in page
    assert "knocks, leaks" in page
    assert {(one.measure, one.figures, one.unit) for one in Reading.objects.all()} == {
        ("rebound_clicks", "11", "clicks"),
        ("preload_length", "3 1/2", "in"),
    }
    assert {(one.figures, one.unit) for one in order.vehicle.meter_readings.all()} == {("4218", "mi"), ("391", "h")}
    assert all(job.sheet.verified for job in order.jobs.all())


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("distance", "lots", "Odometer: “lots” cannot be read."),
        ("distance", "99999999", "99999999 mi is more than any such meter shows."),
        ("rebound_clicks", "2.5", "Front left: Rebound, clicks out from closed cannot be 2.5 clicks."),
        ("rebound_clicks", "-1", "Give zero or more."),
        ("preload_length", "3 psi", "Give the number in in, mm"),
        ("complaint", "", "Nothing is typed here. Fill it in."),
    ],
)
def test_a_check_in_that_is_refused_loses_nothing_and_writes_nothing(at_desk, name, typed, told):
    order = booked(at_desk)
    url = reverse("desk:check_in", args=[order.pk])
    jobs = list(order.jobs.all())
    filled = {"hours": "391"} | {f"found_{job.pk}_compression_clicks": str(7 + job.index) for job in jobs}
    key = name if name in ("distance", "complaint") else f"found_{jobs[0].pk}_{name}"
    answer = send(at_desk, url, **filled | {key: typed})
    assert answer.status_code == 422
    assert told in words(answer)
    assert (filled | {key: typed}).items() <= form(answer).items()
    order.refresh_from_db()
    assert order.status == OrderStatus.BOOKED
    assert not order.vehicle.meter_readings.exists()
    assert not Reading.objects.exists()


def test_the_same_check_in_sent_twice_is_one(at_desk):
    order = booked(at_desk)
    url = reverse("desk:check_in", args=[order.pk])
    filled = form(at_desk.get(url)) | {"distance": "4218"}
    assert at_desk.post(url, filled).status_code == at_desk.post(url, filled).status_code == 302
    assert order.vehicle.meter_readings.count() == 1


def test_an_order_is_checked_in_only_once(at_desk, as_manager):
    order = booked(at_desk)
    url = reverse("desk:check_in", args=[order.pk])
    second = form(as_manager.get(url)) | {"distance": "5000"}
    send(at_desk, url, distance="4218")
    late = as_manager.post(url, second)
    assert late.status_code == 409
    assert "it can be checked in only once" in words(late)
    assert form(late)["distance"] == "5000"
    assert [one.figures for one in order.vehicle.meter_readings.all()] == ["4218"]
    assert at_desk.get(url).status_code == 409


def test_loose_dampers_are_not_asked_for_a_meter(at_desk):
    make.make_damper(customer=make.make_customer())
    order = make.make_order()
    page = at_desk.get(reverse("desk:check_in", args=[order.pk]))
    assert "Odometer" not in words(page)
    assert "distance" not in form(page)


# --- calling off, closing, handing back -------------------------------------------------------------------------------


def test_a_called_off_order_says_why_and_frees_its_parts(at_desk):
    order = booked(at_desk)
    url = reverse("desk:call_off", args=[order.pk])
    assert send(at_desk, url, why="  ").status_code == 422
    assert send(at_desk, url, why="x" * 301).status_code == 422
    page = words(at_desk.get(send(at_desk, url, why="sold the vehicle").url))
    assert "Called off: sold the vehicle" in page
    assert not Reservation.objects.filter(state=ReservationState.HELD).exists()
    assert at_desk.get(url).status_code == 409


def test_an_order_on_the_benches_cannot_be_called_off(at_desk):
    order = booked(at_desk)
    url = reverse("desk:call_off", args=[order.pk])
    opened = form(at_desk.get(url)) | {"why": "too late"}
    send(at_desk, reverse("desk:check_in", args=[order.pk]))
    answer = at_desk.post(url, opened)
    assert answer.status_code == 409
    assert "only a booked order can be called off" in words(answer)
    assert form(answer)["why"] == "too late"


def test_closing_books_what_was_used_and_the_stock_goes_down(at_desk, at_bench, manager):
    family = make_family()
    order = checked_in(at_desk, family)
    close_all(order, manager)
    url = reverse("tablet:close_order", args=[order.pk])
    filled = form(at_bench.get(url))
    kits = [line for line in order.pick_list.lines.all() if line.part_id == family["kit"].pk]
    oils = [line for line in order.pick_list.lines.all() if line.part_id == family["oil"].pk]
    assert {filled[f"used_{line.pk}"] for line in kits} == {"1"}
    assert {filled[f"used_{line.pk}"] for line in oils} == {"335.5"}  # 305 mL and 10 % come to 335.5 mL
    filled |= {f"used_{kits[0].pk}": "0", f"used_{oils[0].pk}": "0.4 L"}
    answer = at_bench.post(url, filled)
    assert "ready to hand back" in words(at_bench.get(answer.url))
    stock = stock_of([family["kit"], family["oil"]])
    assert stock[family["kit"].pk].on_hand == 5 - 3
    assert stock[family["oil"].pk].on_hand == 2_000_000 - 400_000 - 3 * 335_500  # what was left as it stood is exact
    assert at_bench.post(url, filled).url == answer.url
    assert stock_of([family["kit"]])[family["kit"].pk].on_hand == 2


def test_handing_back_asks_about_reminders_and_notes_the_answer(at_desk, at_bench, manager):
    order = checked_in(at_desk)
    url = reverse("desk:hand_back", args=[order.pk])
    assert at_desk.get(url).status_code == 409
    close_all(order, manager)
    send(at_bench, reverse("tablet:close_order", args=[order.pk]))
    assert "The customer knows" in words(at_desk.get(url))
    assert send(at_desk, url, wants_reminders="yes").status_code == 422
    answer = send(at_desk, url, wants_reminders="yes", told_unfinished="on")
    page = words(at_desk.get(answer.url))
    assert "is handed back to" in page
    assert "Handed back on 25 November 2026." in page
    order.customer.refresh_from_db()
    assert order.customer.reminder_consent == Consent.YES


def test_handing_back_without_the_question_leaves_the_answer_open(at_desk, at_bench, manager):
    order = checked_in(at_desk)
    close_all(order, manager)
    send(at_bench, reverse("tablet:close_order", args=[order.pk]))
    send(at_desk, reverse("desk:hand_back", args=[order.pk]), told_unfinished="on")
    order.refresh_from_db()
    assert order.status == OrderStatus.HANDED_BACK
    assert order.customer.reminder_consent == Consent.NOT_ASKED


@pytest.mark.parametrize("name", ["order", "check_in", "hand_back", "call_off", "pick_list", "job_card"])
@pytest.mark.parametrize("pk", [4711, 10**25])
def test_an_order_that_is_not_in_the_book_has_no_page(at_desk, as_manager, name, pk):
    assert as_manager.get(reverse(f"desk:{name}", args=[pk])).status_code == 404


def test_the_model_year_decides_which_figures_are_frozen(at_desk):
    # Common practice, no source: 18 lbf·ft and 200 psi up to 2014, 22 lbf·ft and 100 psi from 2015.
    family = make_family()
    for year, torque, charge in ((2014, "18", "200"), (2015, "22", "100")):
        vehicle = make_vehicle_with_dampers(family, model_year=year)
        order = WorkOrder.objects.get(pk=send(at_desk, f"{BOOK}?vehicle={vehicle.pk}", **JOB).url.split("/")[2])
        send(at_desk, reverse("desk:check_in", args=[order.pk]))
        values = DamperJob.objects.filter(order=order).first().sheet.values
        assert (values["shaft_nut_torque"].figures, values["charge"].figures) == (torque, charge)


def test_a_promise_is_kept_in_the_time_zone_of_the_shop(at_desk):
    assert booked(at_desk).promised_for == datetime(2026, 11, 28, 23, 0, tzinfo=UTC)  # America/Denver is UTC−7 then
