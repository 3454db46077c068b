from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.customers.models import Consent, Customer, MeterReading, Vehicle
from shop.dampers.models import Position
from shop.staff.models import AuditEntry
from shop.workorders.services import call_off
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, make_family, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
LIST = reverse("desk:customers")
NEW = reverse("desk:customer_new")
TOO_LONG = "x" * 100_000


# --- the list ---------------------------------------------------------------------------------------------------------


def test_the_list_finds_a_customer_by_name_phone_plate_and_frame_number(at_desk):
    vehicle = make.make_vehicle(
        customer=make.make_customer(name="Petra Oyelaran", phone="555-0134"), plate="LG 77", vin="OS9R15-00077"
    )
    make.make_customer(name="Theo Marsh-Lindqvist", phone="555-0108")
    for asked in ("oyelaran", "0134", "lg 77", "OS9R15", f"petra {vehicle.model.name}"):
        page = words(at_desk.get(LIST, {"q": asked}))
        assert "Petra Oyelaran" in page, asked
        assert "Theo" not in page, asked


def test_the_list_says_so_when_nobody_is_found_and_when_it_is_empty(at_desk):
    assert "No customers yet." in words(at_desk.get(LIST))
    make.make_customer()
    assert "Nobody found." in words(at_desk.get(LIST, {"q": "Zebulon"}))


def test_a_search_that_is_far_too_long_is_refused_with_what_was_typed(at_desk):
    page = at_desk.get(LIST, {"q": "y" * 3000})
    assert page.status_code == 422
    assert "at most 100 characters" in words(page)
    assert "y" * 3000 in page.content.decode()


def test_the_list_takes_as_many_queries_for_fifty_customers_as_for_five(at_desk, django_assert_num_queries):
    def fill(count):
        for _ in range(count):
            make.make_vehicle()

    fill(5)
    at_desk.get(LIST)
    with django_assert_num_queries(5) as few:
        at_desk.get(LIST)
    fill(60)
    with django_assert_num_queries(len(few.captured_queries)):
        page = words(at_desk.get(LIST))
    assert "1 to 50 of 65" in page


@pytest.mark.parametrize("asked", ["2", "99", "-1", "abc", "9" * 30])
def test_any_page_number_shows_a_page(at_desk, asked):
    make.make_customer()
    assert at_desk.get(LIST, {"page": asked}).status_code == 200


def test_from_a_booking_what_was_looked_for_goes_along_to_the_page_for_somebody_new(at_desk):
    found = at_desk.get(reverse("desk:book"), {"q": "Ines Calloway"})
    address = f"{reverse('desk:book_new')}?q=Ines+Calloway"
    assert address in found.content.decode()
    assert form(at_desk.get(address), "book/new")["name"] == "Ines Calloway"


@pytest.mark.parametrize(
    "typed", [{"email": "INES@example.com"}, {"name": "ines calloway", "phone": "555 0121"}], ids=["mail", "phone"]
)
def test_somebody_who_seems_to_be_in_the_book_is_entered_only_when_ticked(at_desk, typed):
    make.make_customer(name="Ines Calloway", phone="555-0121", email="ines@example.com")
    refused = send(at_desk, NEW, **{"name": "Ida Calloway"} | typed)
    assert refused.status_code == 422
    assert "Ines Calloway (555-0121 and ines@example.com) is in the book already." in words(refused)
    assert Customer.objects.count() == 1
    assert at_desk.post(NEW, form(refused) | {"anyway": "on"}).status_code == 302
    assert Customer.objects.count() == 2


# --- customers --------------------------------------------------------------------------------------------------------


def test_a_new_customer_stands_on_a_page_of_their_own(at_desk):
    answer = send(at_desk, NEW, name="Ines Calloway", phone="555-0121", email="ines@example.com", address="3 Ford Lane")
    page = words(at_desk.get(answer.url))
    for told in ("Ines Calloway", "555-0121", "ines@example.com", "3 Ford Lane", "Not asked yet"):
        assert told in page


def test_the_same_form_sent_twice_makes_one_customer(at_desk):
    filled = form(at_desk.get(NEW)) | {"name": "Ines Calloway"}
    first, second = at_desk.post(NEW, filled), at_desk.post(NEW, filled)
    assert first.url == second.url
    assert Customer.objects.count() == 1


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"name": ""}, "Name: Nothing is typed here. Fill it in."),
        ({"name": "   "}, "Name: Nothing is typed here. Fill it in."),
        ({"email": "ines at example"}, "“ines at example” is no e-mail address. Write it like name@example.com."),
        ({"note": TOO_LONG}, "at most 1000 characters"),
        ({"name": "In\x00es"}, "There is a hidden character in this"),
    ],
)
def test_a_customer_who_cannot_be_is_refused_and_what_was_typed_stays(at_desk, typed, told):
    answer = send(at_desk, NEW, **{"name": "Ines Calloway", "phone": "555-0121"} | typed)
    assert answer.status_code == 422
    assert told in words(answer)
    kept = form(answer)
    assert kept["phone"] == "555-0121"
    assert kept.get("note", "") == typed.get("note", "")
    assert not Customer.objects.exists()


def test_a_changed_customer_shows_the_change(at_desk):
    row = make.make_customer(name="Ines Calloway", phone="555-0121")
    answer = send(at_desk, reverse("desk:customer_change", args=[row.pk]), phone="555-0122")
    page = words(at_desk.get(answer.url))
    assert "555-0122" in page
    assert "555-0121" not in page


def test_who_changes_second_is_told_what_the_book_says_and_can_then_save(at_desk, as_manager):
    row = make.make_customer(name="Ines Calloway", phone="555-0121")
    url = reverse("desk:customer_change", args=[row.pk])
    opened = form(at_desk.get(url))
    send(as_manager, url, phone="555-0199")

    answer = at_desk.post(url, opened | {"phone": "555-0122"})
    assert answer.status_code == 409
    page = words(answer)
    assert "Somebody else has changed this since you opened it." in page
    assert "The book says now Phone 555-0199" in page
    assert form(answer)["phone"] == "555-0122"
    row.refresh_from_db()
    assert row.phone == "555-0199"

    again = at_desk.post(url, form(answer))
    assert again.status_code == 302
    row.refresh_from_db()
    assert row.phone == "555-0122"


def test_a_form_without_its_version_is_refused(at_desk):
    row = make.make_customer()
    answer = at_desk.post(reverse("desk:customer_change", args=[row.pk]), {"name": "Somebody", "version": "x"})
    assert answer.status_code == 422
    row.refresh_from_db()
    assert row.name != "Somebody"


@pytest.mark.parametrize(("wants", "kept"), [("yes", Consent.YES), ("no", Consent.NO)])
def test_the_answer_about_reminders_is_noted_with_how_we_know(at_desk, desk, wants, kept):
    row = make.make_customer()
    url, to = row.get_absolute_url(), reverse("desk:customer_consent", args=[row.pk])
    answer = send(at_desk, url, "consent", to, wants=wants, how="asked on the phone")
    assert answer.url == url
    row.refresh_from_db()
    assert row.reminder_consent == kept
    assert "(asked on the phone)" in AuditEntry.objects.get(kind="customer", key=row.pk).what


def test_no_answer_about_reminders_is_no_answer(at_desk):
    row = make.make_customer()
    answer = send(at_desk, row.get_absolute_url(), "consent", reverse("desk:customer_consent", args=[row.pk]))
    assert answer.status_code == 422
    row.refresh_from_db()
    assert row.reminder_consent == Consent.NOT_ASKED


def test_reminders_that_are_wanted_without_an_address_are_pointed_out(at_desk):
    row = make.make_customer(email="", reminder_consent=Consent.YES)
    assert "No e-mail address is noted, so none can be sent." in words(at_desk.get(row.get_absolute_url()))


def test_a_technician_reads_a_customer_but_sees_nothing_to_change(at_bench):
    row = make.make_vehicle().customer
    page = at_bench.get(row.get_absolute_url())
    assert row.name in words(page)
    assert form(page) == {}
    for gone in ("Change", "New vehicle", "Book a job"):
        assert gone not in words(page)


@pytest.mark.parametrize(
    "name", ["customer", "customer_change", "customer_consent", "vehicle", "meter", "vehicle_sold"]
)
@pytest.mark.parametrize("pk", [4711, 10**25])
def test_what_is_not_in_the_book_has_no_page(at_desk, name, pk):
    assert at_desk.get(reverse(f"desk:{name}", args=[pk])).status_code == 404
    assert at_desk.post(reverse(f"desk:{name}", args=[pk])).status_code == 404


# --- vehicles and dampers ---------------------------------------------------------------------------------------------


def test_a_vehicle_of_a_known_model_and_year_comes_with_its_four_dampers(at_desk):
    family, row = make_family(), make.make_customer()
    url = reverse("desk:vehicle_new", args=[row.pk])
    answer = send(at_desk, url, model=family["vehicle_model"].pk, model_year="2014", vin="os9r14-1", plate="lg 14")
    page = words(at_desk.get(answer.url))
    assert "with 4 dampers" in page
    for told in ("OS9R14-1", "LG 14", "Front left", "Front right", "Rear left", "Rear right"):
        assert told in page
    assert page.count(f"{family['damper_model']}, 2014") == 4


def test_without_the_tick_the_vehicle_comes_without_dampers(at_desk):
    family, row = make_family(), make.make_customer()
    url = reverse("desk:vehicle_new", args=[row.pk])
    filled = form(at_desk.get(url)) | {"model": family["vehicle_model"].pk, "model_year": "2014"}
    filled.pop("fit")
    page = words(at_desk.get(at_desk.post(url, filled).url))
    assert "still without dampers" in page
    assert page.count("Enter it") == 4


@pytest.mark.parametrize(
    ("year", "told"),
    [
        ("1999", "it was built 2010 to 2026."),
        ("0", "cannot be right. Give a model year from 1970 to 2100."),
        ("-5", "cannot be right. Give a model year from 1970 to 2100."),
        ("9" * 30, "cannot be right. Give a model year from 1970 to 2100."),
        ("two thousand", "This is no model year. Give a model year from 1970 to 2100."),
        ("", "No model year is given. Give a model year from 1970 to 2100."),
    ],
)
def test_a_model_year_that_was_never_built_is_refused_and_nothing_is_written(at_desk, year, told):
    family, row = make_family(), make.make_customer()
    url = reverse("desk:vehicle_new", args=[row.pk])
    answer = send(at_desk, url, model=family["vehicle_model"].pk, model_year=year, plate="LG 14")
    assert answer.status_code == 422
    assert told in words(answer)
    assert form(answer)["model_year"] == year
    assert form(answer)["plate"] == "LG 14"
    assert not Vehicle.objects.exists()


def test_a_frame_number_that_is_in_the_book_already_is_refused(at_desk):
    there = make.make_vehicle(vin="OS9R15-1")
    url = reverse("desk:vehicle_new", args=[make.make_customer().pk])
    answer = send(at_desk, url, model=there.model.pk, model_year="2015", vin="os9r15-1")
    assert answer.status_code == 422
    assert "is in the book already" in words(answer)
    assert Vehicle.objects.count() == 1


def test_a_stale_change_of_a_vehicle_names_what_the_book_says(at_desk, as_manager):
    vehicle = make.make_vehicle(plate="LG 1")
    url = reverse("desk:vehicle_change", args=[vehicle.pk])
    opened = form(at_desk.get(url))
    send(as_manager, url, plate="LG 2")
    answer = at_desk.post(url, opened | {"plate": "LG 3"})
    assert answer.status_code == 409
    assert "The book says now Plate LG 2" in words(answer)
    assert at_desk.post(url, form(answer)).status_code == 302
    vehicle.refresh_from_db()
    assert vehicle.plate == "LG 3"


# Both numbers: tests/reference/vin_check_digit.csv.
def test_a_number_whose_check_digit_does_not_fit_is_kept_told_of_after_saving_and_on_its_page(at_desk):
    model = make.make_vehicle_model()
    url = reverse("desk:vehicle_new", args=[make.make_customer().pk])
    saved = send(at_desk, url, model=model.pk, model_year="2015", vin="1M8GDM9A0KP042788")
    page, again = words(at_desk.get(saved.url)), words(at_desk.get(saved.url))
    assert "Compare 1M8GDM9A0KP042788 with the frame plate: its check digit does not fit" in page
    assert "with the frame plate: its check digit" not in again
    for told in (page, again):
        assert "The ninth character is 0; worked out from the other sixteen it would be X." in told
        assert "Many off-road frame numbers do not use this check" in told
    change = reverse("desk:vehicle_change", args=[Vehicle.objects.get().pk])
    assert "Compare 1M8GDM9A0KP042788 with" in words(at_desk.get(send(at_desk, change, plate="LG 7").url))
    mended = words(at_desk.get(send(at_desk, change, vin="1M8GDM9AXKP042788").url))
    assert "ninth character" not in mended
    assert "check digit" not in mended


@pytest.mark.parametrize(
    ("vin", "told"),
    [("OS9R15-00417", ""), ("", ""), ("1M8GDM9AXKP042788", ""), ("ZZZAB12CME0001234", "The ninth character is M"),
     ("1M8GDM9AXKPO42788", "It holds O, and a VIN has only digits and letters without I, O and Q.")],
)  # fmt: skip
def test_only_a_number_of_seventeen_characters_is_doubted(at_desk, vin, told):
    page = words(at_desk.get(make.make_vehicle(vin=vin).get_absolute_url()))
    assert ("frame plate" in page) == bool(told)
    assert told in page


def test_a_sold_vehicle_says_so_and_is_not_offered_for_booking(at_desk):
    vehicle = make.make_vehicle()
    answer = send(at_desk, reverse("desk:vehicle_sold", args=[vehicle.pk]), on="2026-11-20")
    page = words(at_desk.get(answer.url))
    assert "on 20 November 2026: no reminders" in page
    assert "Book a job" not in page
    assert str(vehicle.model) not in words(at_desk.get(reverse("desk:book"), {"customer": vehicle.customer_id}))


def test_a_vehicle_cannot_have_been_sold_tomorrow(at_desk):
    vehicle = make.make_vehicle()
    answer = send(at_desk, reverse("desk:vehicle_sold", args=[vehicle.pk]), on="2026-11-26")
    assert answer.status_code == 422
    assert "26 November 2026 lies in the future." in words(answer)


def test_a_damper_is_entered_on_its_corner(at_desk):
    vehicle, model = make.make_vehicle(), make.make_damper_model()
    url = reverse("desk:damper_new") + f"?vehicle={vehicle.pk}&position=rear_left"
    answer = send(at_desk, url, model=model.pk, serial="H2-0099")
    assert answer.url == vehicle.get_absolute_url()
    assert "Rear left" in words(at_desk.get(answer.url))
    damper = vehicle.dampers.get()
    assert (damper.position, damper.model_year, damper.serial) == (Position.REAR_LEFT, 2015, "H2-0099")


def test_a_corner_takes_one_damper(at_desk):
    damper = make.make_damper(make.make_vehicle(), Position.REAR_LEFT)
    url = reverse("desk:damper_new") + f"?vehicle={damper.vehicle.pk}&position=rear_left"
    answer = send(at_desk, url, model=damper.model.pk, serial="second")
    assert answer.status_code == 422
    assert "This corner already has a damper." in words(answer)
    assert form(answer)["serial"] == "second"


def test_a_loose_damper_belongs_to_the_customer(at_desk):
    row, model = make.make_customer(), make.make_damper_model()
    url = reverse("desk:damper_new") + f"?customer={row.pk}"
    answer = send(at_desk, url, model=model.pk, model_year="2012")
    assert answer.url == row.get_absolute_url()
    assert f"{model}, 2012" in words(at_desk.get(answer.url))


@pytest.mark.parametrize("asked", ["", "?vehicle=abc", "?vehicle=9999", "?customer=", "?customer=-1", "?vehicle=²"])
def test_a_damper_of_nobody_has_no_page(at_desk, asked):
    assert at_desk.get(reverse("desk:damper_new") + asked).status_code == 404


# --- meters -----------------------------------------------------------------------------------------------------------


def test_the_vehicle_tells_how_its_use_was_found_and_which_readings_were_left_out(at_desk):
    vehicle = make.make_vehicle(created_at=NOON - timedelta(days=100))
    make.make_meter_reading(vehicle, miles=5000, on=date(2026, 8, 1))
    page = words(at_desk.get(vehicle.get_absolute_url()))
    assert "There is only one reading of the odometer: a second one tells how much it is used." in page
    assert "So far the date alone counts." in page
    assert "the middle one of the rates" not in page
    for on, miles in [(date(2026, 9, 1), 5310), (date(2026, 9, 15), 54500), (date(2026, 10, 1), 5610)]:
        make.make_meter_reading(vehicle, miles=miles, on=on)
    Vehicle.objects.update(forecast_stale=True)
    page = words(at_desk.get(vehicle.get_absolute_url()))
    assert "About 300 mi a month from 3 readings" in page
    assert "The use a month is the middle one of the rates between any two readings" in page
    assert "The reading 54500 of 15 September 2026 does not fit the others and is left out: a typing error?" in page


def test_a_meter_reading_stands_on_the_vehicle_and_moves_the_forecast(at_desk):
    vehicle = make.make_vehicle()
    make.make_meter_reading(vehicle, miles=1000, on=date(2026, 5, 25))
    make.make_meter_reading(vehicle, miles=1900, on=date(2026, 8, 25))
    before = words(at_desk.get(vehicle.get_absolute_url()))
    answer = send(at_desk, reverse("desk:meter", args=[vehicle.pk]), "meter", distance="4218", hours="391.5")
    page = words(at_desk.get(answer.url))
    assert "4218 mi" in page
    assert "391.5 h" in page
    assert page.split("Next service")[1][:120] != before.split("Next service")[1][:120]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({}, "Neither meter has a reading."),
        ({"distance": "lots"}, "Odometer: “lots” cannot be read."),
        ({"distance": "-3"}, "Odometer cannot be -3 mi. Give zero or more."),
        ({"distance": "99999999"}, "99999999 mi is more than any such meter shows."),
        ({"hours": "12", "read_on": "2026-11-26"}, "26 November 2026 lies in the future."),
    ],
)
def test_a_meter_reading_that_cannot_be_is_refused_beside_its_field(at_desk, typed, told):
    vehicle = make.make_vehicle()
    answer = send(at_desk, reverse("desk:meter", args=[vehicle.pk]), "meter", **typed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert typed.items() <= form(answer, "meter").items()
    assert not MeterReading.objects.exists()


def test_when_one_of_two_meters_is_refused_neither_is_written(at_desk):
    vehicle = make.make_vehicle()
    answer = send(at_desk, reverse("desk:meter", args=[vehicle.pk]), "meter", distance="4218", hours="999999999")
    assert answer.status_code == 422
    assert not MeterReading.objects.exists()


def test_a_wrong_reading_is_corrected_and_stays_readable(at_desk):
    vehicle = make.make_vehicle()
    wrong = make.make_meter_reading(vehicle, miles=42180)
    url = reverse("desk:meter", args=[vehicle.pk]) + f"?corrects={wrong.pk}"
    assert "The book says 42180 mi" in words(at_desk.get(url))
    answer = send(at_desk, url, distance="4218")
    assert "42180 mi corrected to 4218 mi" in words(at_desk.get(answer.url))
    assert at_desk.get(url).status_code == 404  # it is corrected already


def test_a_technician_notes_a_meter_reading_too(at_bench):
    vehicle = make.make_vehicle()
    answer = send(at_bench, reverse("desk:meter", args=[vehicle.pk]), "meter", distance="4218")
    assert answer.status_code == 302
    assert vehicle.meter_readings.get().figures == "4218"


# --- a wrong model year -----------------------------------------------------------------------------------------------


def test_another_model_year_takes_the_dampers_along_unless_unticked_and_then_the_page_says_so(at_desk):
    damper = make.make_damper(make.make_vehicle(model_year=2014))
    url, page = reverse("desk:vehicle_change", args=[damper.vehicle_id]), damper.vehicle.get_absolute_url()
    filled = form(at_desk.get(url)) | {"model_year": "2015"}
    del filled["dampers_too"]
    assert at_desk.post(url, filled).status_code == 302
    assert "Of 2014, on a vehicle of 2015" in words(at_desk.get(page))
    assert send(at_desk, reverse("desk:damper_change", args=[damper.pk]), model_year="2015").status_code == 302
    assert "on a vehicle of" not in words(at_desk.get(page))
    assert send(at_desk, url, model_year="2016").status_code == 302
    damper.refresh_from_db()
    assert damper.model_year == 2016


def test_a_damper_at_the_bench_is_not_changed_and_what_was_typed_stays(at_desk):
    damper = make.make_damper(make.make_vehicle(model_year=2014))
    make.make_open_job(damper=damper)
    answer = send(at_desk, reverse("desk:damper_change", args=[damper.pk]), model_year="2015")
    assert answer.status_code == 409
    assert "is on the bench in" in words(answer)
    assert form(answer)["model_year"] == "2015"
    assert send(at_desk, reverse("desk:vehicle_change", args=[damper.vehicle_id]), model_year="2015").status_code == 422


def test_a_damper_is_taken_off_its_vehicle(at_desk):
    damper = make.make_damper(make.make_vehicle())
    assert send(at_desk, reverse("desk:damper_take_off", args=[damper.pk])).status_code == 302
    assert str(damper) in words(at_desk.get(damper.customer.get_absolute_url()))


def test_a_meter_that_goes_back_is_asked_about_and_taken_when_confirmed(at_desk):
    vehicle = make.make_vehicle()
    make.make_meter_reading(vehicle, miles=1200, on=date(2026, 11, 1))
    url, page = reverse("desk:meter", args=[vehicle.pk]), vehicle.get_absolute_url()
    refused = at_desk.post(url, form(at_desk.get(page), url) | {"distance": "120"})
    assert refused.status_code == 422
    assert "is less than the 1200 mi on 1 November 2026" in words(refused)
    assert vehicle.meter_readings.count() == 1
    assert at_desk.post(url, form(refused, url) | {"confirmed": "on"}).status_code == 302
    assert vehicle.meter_readings.count() == 2


def test_orders_that_are_not_over_tell_the_telephone_answer(at_desk, django_assert_num_queries):
    customer = make.make_customer()

    def book():
        return make.make_order(dampers=[make.make_damper(customer=customer)])

    order, gone = book(), book()
    call_off(order=gone, why="sold", by=make.make_user(), at=NOON)
    url = reverse("desk:customer", args=[customer.pk])
    with CaptureQueriesContext(connection) as few:
        page = words(at_desk.get(url))
    answer = "loose dampers Rebuild of 1 damper. No parts list for these dampers. booked"
    assert "Not over yet" in page
    assert f"{order.number} {answer}" in page
    assert "Earlier orders" in page
    assert page.count(order.number) == 1
    assert page.index("Earlier orders") < page.index(gone.number)
    for _ in range(3):
        book()
    with django_assert_num_queries(len(few)):
        assert words(at_desk.get(url)).count(answer) == 4
