"""Somebody new is booked on one page: all of it or nothing, and nothing typed is lost."""

import pytest
from django.urls import reverse

from shop.customers.models import Customer, Vehicle
from shop.dampers.models import Construction, Damper, Position
from shop.workorders.models import WorkOrder
from tests import factories as make
from tests.web.people import form, make_family, make_vehicle_with_dampers, words
from tests.workorders.test_bench_time import FRIDAY, THURSDAY, book_one, days, wall

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
PAGE = reverse("desk:book_new")
JOB = {"complaint": "knocks over ruts", "promised_for_0": "2026-11-28", "promised_for_1": "16:00"}
CALLOWAY = {"name": "Ines Calloway", "phone": "555-0142", "email": "ines@example.com", "address": "4 Cairn Lane"}
OTHER = {"name": "Otto Marsh", "phone": "555-0177", "email": "marsh@example.org", "address": "4 Cairn Lane"}
ALL_CORNERS = {"corners_shown": "yes"} | {f"corner_{position}": "on" for position in Position.values}
CORNERS = {"corners_shown": "yes", "corner_front_left": "on", "corner_rear_left": "on", "serial_rear_left": "PV-88"}


@pytest.fixture
def family():
    return make_family()


def press(client, page=None, button="book", value="yes", **typed):
    """Fill in the page as it stands and press one of its buttons."""
    page = page or client.get(PAGE)
    return client.post(PAGE, form(page, "book/new") | typed | {button: value})


def on_vehicle(family, **given):
    return {
        "model": family["vehicle_model"].pk,
        "model_year": "2015",
        "plate": "KLR-204",
        "vin": "OS9R1500000000001",
    } | given


def nothing_is_written():
    return not any(table.objects.exists() for table in (Customer, Vehicle, Damper, WorkOrder))


@pytest.mark.flow
def test_customer_vehicle_dampers_and_order_are_entered_together(at_desk, family):
    answer = press(at_desk, **CALLOWAY, **on_vehicle(family), **CORNERS, **JOB)
    order = WorkOrder.objects.get()
    assert answer.url == order.get_absolute_url()
    assert (order.customer.name, order.customer.phone, order.vehicle.plate) == ("Ines Calloway", "555-0142", "KLR-204")
    assert order.vehicle.dampers.count() == 4, "the vehicle gets all that it carries"
    booked = [(job.damper.position, job.damper.serial) for job in order.jobs.order_by("index")]
    assert sorted(booked) == [("front_left", ""), ("rear_left", "PV-88")]
    assert order.complaint == "knocks over ruts"


@pytest.mark.flow
def test_the_same_page_sent_twice_books_once(at_desk, family):
    sent = form(at_desk.get(PAGE), "book/new") | CALLOWAY | on_vehicle(family) | CORNERS | JOB | {"book": "yes"}
    first, second = at_desk.post(PAGE, sent), at_desk.post(PAGE, sent)
    assert first.url == second.url
    assert (Customer.objects.count(), WorkOrder.objects.count()) == (1, 1)


@pytest.mark.flow
def test_loose_dampers_need_no_vehicle_and_may_be_several(at_desk):
    model = make.make_damper_model()
    page = press(at_desk, button="another", **CALLOWAY)
    rows = {"row0_model": model.pk, "row0_model_year": "2014", "row0_position": "rear_left", "row0_serial": "A-1",
            "row1_model": model.pk, "row1_model_year": "2015"}  # fmt: skip
    assert press(at_desk, page, **rows, **JOB).status_code == 302
    order = WorkOrder.objects.get()
    assert order.vehicle is None
    assert sorted(job.damper.serial for job in order.jobs.all()) == ["", "A-1"]


REFUSED = [
    ({"name": ""}, "Name"),
    ({"email": "nowhere"}, "E-mail"),
    ({"complaint": ""}, "What the customer says"),
    ({"promised_for_0": "2020-01-01"}, "before the day of arrival"),
    ({"model_year": "1985"}, "There is no Ostrander"),
    ({"model": ""}, "Choose the vehicle model, or clear what is typed of a vehicle."),
    ({"model_year": ""}, "Give the model year of the vehicle"),
    ({"corner_front_left": "", "corner_rear_left": ""}, "No damper is ticked or entered."),
    ({"row0_serial": "A-1"}, "Choose the model of this damper"),
    ({"row0_model_year": "20x5"}, "This is no model year."),
]


@pytest.mark.flow
@pytest.mark.parametrize(("typed", "words_said"), REFUSED, ids=[said for _, said in REFUSED])
def test_a_refusal_says_why_writes_nothing_and_keeps_all_that_was_typed(at_desk, family, typed, words_said):
    sent = CALLOWAY | on_vehicle(family) | CORNERS | JOB | typed
    page = press(at_desk, **sent)
    assert page.status_code == 422
    assert words_said in words(page)
    assert nothing_is_written()
    kept = form(page, "book/new")
    shown = {name: value for name, value in sent.items() if value != "" and not name.startswith(("corner", "serial"))}
    assert {name: kept.get(name) for name in shown} == {name: str(value) for name, value in shown.items()}
    if sent["model"] and sent["model_year"] == "2015":
        assert {name for name in kept if name.startswith("corner_")} == {name for name in CORNERS if sent[name] == "on"}
        assert kept["serial_rear_left"] == "PV-88"


def test_one_like_this_is_offered_before_another_is_made(at_desk, family):
    known = make.make_customer(name="Ines Calloway", phone="(555) 0142", email="")
    page = press(at_desk, **CALLOWAY, **on_vehicle(family), **CORNERS, **JOB)
    assert page.status_code == 422
    assert "Ines Calloway has this telephone number. Take that customer" in words(page)
    assert Customer.objects.count() == 1
    taken = press(at_desk, page, button="take", value=known.pk)
    assert "Somebody else" in words(taken)
    kept = form(taken, "book/new")
    assert (kept["plate"], kept["complaint"], kept["name"]) == ("KLR-204", "knocks over ruts", "Ines Calloway")
    back = press(at_desk, taken, button="untake")
    assert form(back, "book/new")["address"] == "4 Cairn Lane"
    assert press(at_desk, taken).status_code == 302
    assert WorkOrder.objects.get().customer == known
    assert Customer.objects.count() == 1


def test_somebody_else_of_the_same_name_is_entered_anyway(at_desk, family):
    make.make_customer(name="Ines Calloway", phone="555-0199", email="")
    page = press(at_desk, **CALLOWAY, **on_vehicle(family), **CORNERS, **JOB)
    assert "has a name like this" in words(page)
    assert press(at_desk, page, somebody_else="on").status_code == 302
    assert Customer.objects.count() == 2


@pytest.mark.parametrize(
    ("typed", "why"),
    [({"phone": "5550142"}, "telephone number"), ({"email": "INES@example.com"}, "e-mail address"),
     ({"name": "ines caloway"}, "name like this"), ({"name": "X Y", "vin": "os9r1500000000001"}, "vehicle with this")],
)  # fmt: skip
def test_the_likely_same_are_told_while_it_is_typed(at_desk, family, typed, why):
    owner = make.make_customer(name="Ines Calloway", phone="555-0142", email="ines@example.com")
    make.make_vehicle(customer=owner, vin="OS9R1500000000001")
    make.make_customer(name="Theo Marsh", phone="555-0150", email="theo@example.org")
    page = words(at_desk.get(reverse("desk:book_new_twins"), typed))
    assert "Ines Calloway" in page
    assert why in page
    assert "Theo" not in page


def test_a_vehicle_of_the_book_is_taken_with_its_owner(at_desk, family):
    vehicle = make_vehicle_with_dampers(family, vin="OS9R1500000000001")
    page = press(at_desk, **CALLOWAY, **on_vehicle(family), **CORNERS, **JOB)
    assert "has the vehicle with this number" in words(page)
    taken = press(at_desk, page, button="take", value=vehicle.customer.pk)
    assert press(at_desk, taken).status_code == 302
    order = WorkOrder.objects.get()
    assert order.vehicle == vehicle
    assert Vehicle.objects.count() == 1


def test_the_corners_of_a_known_model_and_year_come_to_tick_and_say_what_is_not_serviced(at_desk):
    model = make.make_vehicle_model()
    make.make_fitment(model, Position.FRONT_LEFT, make.make_damper_model(name="H9"))
    sealed = make.make_damper_model(
        name="Live 3", construction=Construction.SEALED, serviceable=False, why_not="It needs the maker's bench."
    )
    make.make_fitment(model, Position.REAR_LEFT, sealed)
    page = at_desk.get(reverse("desk:book_new_corners"), {"model": model.pk, "model_year": "2015"})
    assert "Front left: Hallinde H9" in words(page)
    assert "Not serviced here. Tell the customer: It needs the maker's bench." in words(page)
    shown = press(at_desk, button="show", model=model.pk, model_year="2015")
    assert "corner_front_left" in form(shown, "book/new")
    assert "corner_rear_left" not in form(shown, "book/new")


PROPOSAL = reverse("desk:book_new_proposal")


@pytest.mark.flow
def test_bench_days_are_proposed_for_dampers_that_are_not_entered_yet(at_desk, family, django_assert_max_num_queries):
    make.make_bench_hours()
    on = on_vehicle(family) | {"arrives_on": "2026-11-26"}
    assert "Tick a damper" in words(at_desk.get(PROPOSAL, on | {"arrives_on": ""}))
    with django_assert_max_num_queries(40):
        four = words(at_desk.get(PROPOSAL, on))
    assert "5.5 h on Thursday 26. Promise Thursday 26 by 17:00." in four
    assert "Bench time 5.5 h: 4 × 1 h 15 min and 30 min for the order." in four
    assert "3 h on Thursday 26." in words(at_desk.get(PROPOSAL, on | CORNERS))
    row = {"rows": 1, "row0_model": family["damper_model"].pk, "row0_model_year": "2015"}
    assert "1 h 45 min on Friday 27" in words(at_desk.get(PROPOSAL, row | {"arrives_on": "2026-11-27"}))
    six = row | {"rows": 2, "row1_model": family["damper_model"].pk}
    told = words(at_desk.get(PROPOSAL, on | six))
    assert "6 × 1 h 15 min" in told
    assert "no supplier is known" in told  # five kits lie on the shelf
    assert nothing_is_written()


@pytest.mark.flow
def test_the_proposed_day_is_booked_and_promised_when_no_promise_is_typed(at_desk, family):
    make.make_bench_hours()
    sent = CALLOWAY | on_vehicle(family) | CORNERS | {"complaint": "leaks", "arrives_on": "2026-11-26"}
    shown = press(at_desk, button="propose", **sent)
    filled = form(shown, "book/new")
    assert (filled["promised_for_0"], filled["promised_for_1"]) == ("2026-11-26", "17:00")
    assert (filled["proposed"], filled["complaint"], filled["name"]) == ("2026-11-26", "leaks", "Ines Calloway")
    assert nothing_is_written()
    assert press(at_desk, shown, promised_for_0="", promised_for_1="").status_code == 302
    order = WorkOrder.objects.get()
    assert days(order) == [(THURSDAY, 180)]
    assert order.promised_for == wall(THURSDAY, 17)


@pytest.mark.flow
def test_when_the_last_hour_is_taken_meanwhile_all_stays_and_the_next_day_is_proposed(at_desk, family):
    make.make_bench_hours()
    sent = OTHER | on_vehicle(family) | ALL_CORNERS | {"complaint": "leaks", "arrives_on": "2026-11-26"}
    shown = press(at_desk, button="propose", **sent)
    book_one(4, arrives_on=THURSDAY)
    answer = press(at_desk, shown)
    told = words(answer)
    assert answer.status_code == 409, told
    assert "The first day that fits is now Friday 27, no longer Thursday 26." in told
    assert "5.5 h on Friday 27. Promise Friday 27 by 17:00." in told
    kept = form(answer, "book/new")
    assert kept["proposed"] == "2026-11-27"
    typed = {name: str(value) for name, value in sent.items()}
    assert {name: kept[name] for name in typed} == typed
    assert not Customer.objects.filter(name="Otto Marsh").exists()
    again = press(at_desk, answer, promised_for_0="2026-11-27")
    assert again.status_code == 302
    assert days(WorkOrder.objects.latest("pk")) == [(FRIDAY, 330)]


@pytest.mark.flow
def test_a_promise_before_the_bench_time_or_a_full_day_is_refused_until_it_is_meant(at_desk, family):
    make.make_bench_hours()
    book_one(4, arrives_on=THURSDAY)
    sent = OTHER | on_vehicle(family) | ALL_CORNERS | {"complaint": "leaks", "arrives_on": "2026-11-26"}
    early = press(at_desk, **sent, promised_for_0="2026-11-26", promised_for_1="12:00")
    assert early.status_code == 422
    assert "after this promise" in words(early)
    assert "Promise it all the same" in words(early)
    full = press(at_desk, early, bench_from="2026-11-26", promise_anyway="on")
    assert full.status_code == 422
    assert "Thursday 26: 1.5 h left of 7 h" in words(full)
    assert form(full, "book/new")["bench_from"] == "2026-11-26"
    unsaid = press(at_desk, full, anyway="on")
    assert "Say why it is booked all the same" in words(unsaid)
    assert press(at_desk, unsaid, anyway_why="race on Sunday").status_code == 302
    order = WorkOrder.objects.latest("pk")
    assert (order.bench_over_why, order.customer.name) == ("race on Sunday", "Otto Marsh")


def test_somebody_else_and_all_the_same_are_two_questions(at_desk, family):
    make.make_bench_hours()
    make.make_customer(name="Ines Calloway", phone="555-0199", email="")
    book_one(4, arrives_on=THURSDAY)
    sent = CALLOWAY | on_vehicle(family) | ALL_CORNERS | {"complaint": "leaks", "arrives_on": "2026-11-26"}
    beyond = {"bench_from": "2026-11-26", "anyway": "on", "anyway_why": "race on Sunday"}
    page = press(at_desk, **sent, **beyond)
    assert "has a name like this" in words(page)
    assert press(at_desk, page, somebody_else="on").status_code == 302


def test_what_was_looked_for_stands_in_its_field(at_desk):
    for text, name in (("Ines Calloway", "name"), ("555-0142", "phone"), ("ines@example.com", "email")):
        assert form(at_desk.get(PAGE, {"q": text}), "book/new")[name] == text


@pytest.mark.parametrize(
    "sent",
    [{"taken": "x"}, {"taken": "9" * 40}, {"rows": "-1"}, {"rows": "999999999999"}, {"model": "x"},
     {"vehicle": "9" * 30}, {"take": "0"}, {"another": "1", "rows": "9" * 99},
     {"corner_front_left": "\u0000"}, {"arrives_on": "\u0000"}, {"arrives_on": "9999-12-31"},
     {"rows": "1", "row0_model": "9" * 30}, {"rows": "1", "row0_position": "roof"}, {"name": "\u0000"}],
)  # fmt: skip
@pytest.mark.parametrize("button", ["book", "show"])
def test_nonsense_is_no_fault_of_ours(at_desk, sent, button):
    assert at_desk.post(PAGE, sent | {button: "yes"}).status_code < 500
    for name in ("book_new_twins", "book_new_corners", "book_new_proposal"):
        assert at_desk.get(reverse(f"desk:{name}"), sent).status_code == 200
