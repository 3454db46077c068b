"""The working calendar's pages, the proposal while a job is booked, a changed booking, and the day sheet's hours."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.specs.labour import as_seen
from shop.specs.models import LabourTime
from shop.staff.models import Absence, BenchHours, ClosedDay, WorkingHours
from shop.workorders.models import WorkOrder
from shop.workorders.services import check_in
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, send, words
from tests.workorders.test_bench_time import FRIDAY, MONDAY, THURSDAY, book_one, days, wall

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
HOURS = reverse("manage:hours")


# --- the calendar


def test_a_manager_sets_hours_and_everybody_sees_them(as_manager, at_bench, technician):
    assert "Nothing can be proposed yet." in words(as_manager.get(HOURS))
    span = {f"{name}_{n}": when for n in range(5) for name, when in (("opens", "08:00"), ("closes", "17:00"))}
    assert send(as_manager, reverse("manage:working_hours"), **span).status_code == 302
    typed = {"minutes_0": "7:30", "minutes_1": "7.5 h", "minutes_2": "450", "minutes_3": "7 h", "minutes_4": ""}
    assert send(as_manager, reverse("manage:bench_hours", args=[technician.pk]), **typed).status_code == 302
    rows = BenchHours.objects.filter(person=technician).order_by("weekday")
    assert list(rows.values_list("minutes", flat=True)) == [450, 450, 450, 420, 0, 0, 0]
    assert WorkingHours.objects.get(weekday=5).opens is None
    page = words(at_bench.get(HOURS))
    assert "Monday 08:00 to 17:00" in page
    assert "Saturday not a working day" in page
    assert "Thursday 26 November 7 h" in page
    assert "Set hours" not in page


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"opens_0": "08:00"}, "Monday has only one of its times."),
        ({"opens_0": "17:00", "closes_0": "08:00"}, "Monday cannot end at 08:00 when it begins at 17:00."),
        ({"opens_0": "early", "closes_0": "17:00"}, "This is no time of day."),
        ({"from_day": "2026-11-24"}, "24 November 2026 is past, and what was worked then stays"),
        ({"from_day": "2099-01-01"}, "more than five years away"),
    ],
)
def test_working_hours_that_cannot_be_are_refused(as_manager, typed, told):
    answer = send(as_manager, reverse("manage:working_hours"), **typed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert not WorkingHours.objects.exists()


@pytest.mark.parametrize("typed", ["25 h", "-1", "1:75", "seven", "1.333 h", "²", "9" * 40])
def test_bench_time_that_cannot_be_read_is_refused(as_manager, technician, typed):
    answer = send(as_manager, reverse("manage:bench_hours", args=[technician.pk]), minutes_0=typed)
    assert answer.status_code == 422
    assert not BenchHours.objects.exists()


def test_somebody_is_away_and_is_back(as_manager, technician):
    make.make_bench_hours(technician)
    typed = {"person": technician.pk, "first_day": "2026-11-24", "last_day": "2026-11-27", "why": "ill"}
    assert send(as_manager, reverse("manage:absence_new"), **typed).status_code == 302
    assert f"nobody is at the benches ({technician}: ill)" in words(as_manager.get(HOURS))
    gone = Absence.objects.get()
    assert as_manager.post(reverse("manage:absence_end", args=[gone.pk])).status_code == 302
    gone.refresh_from_db()
    assert gone.last_day == date(2026, 11, 24)  # what has been stays in the book


def test_closed_days_by_date_and_by_rule(as_manager):
    yearly = reverse("manage:closed_yearly_new")
    typed = {"name": "Thanksgiving Day", "month": "11", "nth": "4", "weekday": "3"}
    assert send(as_manager, yearly, **typed).status_code == 302
    assert send(as_manager, yearly, name="New Year's Day", month="1", day="1").status_code == 302
    span = {"name": "stock taking", "first_day": "2026-12-30", "last_day": "2026-12-31"}
    assert send(as_manager, reverse("manage:closed_new"), **span).status_code == 302
    page = words(as_manager.get(HOURS))
    assert "Thanksgiving Day every year on the fourth Thursday of November" in page
    assert "New Year's Day every year on 1 January" in page
    assert "stock taking 30 December 2026 to 31 December 2026" in page
    row = ClosedDay.objects.get(name="stock taking")
    assert as_manager.post(reverse("manage:closed_end", args=[row.pk])).status_code == 302
    assert not ClosedDay.objects.filter(pk=row.pk).exists()


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"month": "2", "day": "30"}, "No year has such a day."),
        ({"month": "2"}, "Give either a day of the month"),
        ({"month": "2", "nth": "4"}, "Give either a day of the month"),
        ({"month": "2", "day": "3", "nth": "4", "weekday": "3"}, "Give either a day of the month"),
        ({"month": "13", "day": "3"}, ""),
    ],
)
def test_a_yearly_day_that_no_year_has_is_refused(as_manager, typed, told):
    answer = send(as_manager, reverse("manage:closed_yearly_new"), name="x", **typed)
    assert answer.status_code == 422
    assert told in words(answer)


def test_labour_times_are_set_and_removed_and_who_was_second_is_told(as_manager):
    model = make.make_damper_model()
    page = reverse("manage:damper_labour", args=[model.pk])
    assert send(as_manager, reverse("manage:shop_labour"), minutes="1:20", order_minutes="20").status_code == 302
    opened = form(as_manager.get(page))
    assert send(as_manager, page, minutes="50").status_code == 302
    late = as_manager.post(page, opened | {"minutes": "60", "seen": ""})
    assert late.status_code == 409
    assert "Somebody else has changed this labour time" in words(late)
    assert "50 min at the benches for one damper. Its own labour time holds." in words(
        as_manager.get(reverse("manage:damper_model", args=[model.pk]))
    )
    seen = as_seen(LabourTime.objects.get(damper_model=model))
    assert as_manager.post(page, {"remove": "1", "seen": seen}).status_code == 302
    assert not LabourTime.objects.filter(damper_model=model).exists()


# --- booking


def book_page(customer):
    return f"{reverse('desk:book')}?loose={customer.pk}"


def customer_with(count):
    customer = make.make_customer()
    for _ in range(count):
        make.make_damper(customer=customer)
    return customer


def test_the_booking_page_proposes_a_day_and_says_why_not_sooner(at_desk):
    make.make_bench_hours()
    make.make_closed_day()
    page = at_desk.get(book_page(customer_with(5)))
    told = words(page)
    assert "6 h 45 min on Friday 27. Promise Friday 27 by 17:00." in told
    assert "5 × 1 h 15 min and 30 min for the order" in told
    assert "Wednesday 25: 5 h left of 7 h." in told
    assert "Thursday 26: closed, Thanksgiving Day." in told
    filled = form(page)
    assert (filled["promised_for_0"], filled["promised_for_1"], filled["proposed"]) == (
        "2026-11-27", "17:00", "2026-11-27",
    )  # fmt: skip


def test_what_is_proposed_is_booked_as_it_stands(at_desk):
    make.make_bench_hours()
    answer = send(at_desk, book_page(customer_with(4)), complaint="leaks")
    assert answer.status_code == 302, words(answer)
    order = WorkOrder.objects.get()
    assert days(order) == [(THURSDAY, 330)]
    assert order.promised_for == wall(THURSDAY, 17)
    page = words(at_desk.get(order.get_absolute_url()))
    assert "Ready Thursday 26 by 17:00, as promised." in page
    assert "5.5 h on Thursday 26" in page


def test_the_button_proposes_anew_without_script_and_keeps_what_was_typed(at_desk):
    make.make_bench_hours()
    url = book_page(customer_with(4))
    typed = form(at_desk.get(url))
    typed |= {"dampers": typed["dampers"][:1], "arrives_on": "2026-11-30", "complaint": "knocks", "propose": "1"}
    page = at_desk.post(url, typed)
    assert page.status_code == 200
    assert "1 h 45 min on Monday 30." in words(page)
    filled = form(page)
    assert (filled["complaint"], filled["promised_for_0"], filled["request_key"]) == (
        "knocks", "2026-11-30", typed["request_key"],
    )  # fmt: skip
    assert not WorkOrder.objects.exists()


@pytest.mark.parametrize(
    "typed", [{"arrives_on": ""}, {"arrives_on": "soon"}, {"dampers": []}, {"dampers": ["x", "9" * 30]}]
)
def test_a_proposal_for_nonsense_is_no_error_of_ours(at_desk, typed):
    make.make_bench_hours()
    url = book_page(customer_with(1))
    page = at_desk.post(url, form(at_desk.get(url)) | typed | {"propose": "1"})
    assert page.status_code == 200
    assert "then a day is proposed" in words(page)


def test_the_proposal_follows_the_ticks(at_desk, django_assert_max_num_queries):
    make.make_bench_hours()
    customer = customer_with(4)
    keys = [damper.pk for damper in customer.dampers.all()]
    asked = {"dampers": keys[:2], "arrives_on": "2026-11-30"}
    with django_assert_max_num_queries(20):
        answer = at_desk.get(reverse("desk:proposal"), asked)
    assert "3 h on Monday 30." in words(answer)
    assert 'data-day="2026-11-30" data-clock="17:00"' in answer.content.decode()
    assert "then a day is proposed" in words(at_desk.get(reverse("desk:proposal"), {"arrives_on": "x"}))
    assert at_desk.get(reverse("desk:proposal"), {"dampers": "x"}).status_code == 404


def test_who_was_second_on_the_last_hours_is_told_with_what_was_typed(at_desk):
    make.make_bench_hours()
    url = book_page(customer_with(4))
    opened = form(at_desk.get(url))
    book_one(4)  # meanwhile another desk
    answer = at_desk.post(url, opened | {"complaint": "knocks"})
    assert answer.status_code == 409
    page = words(answer)
    assert "The first day that fits is now Friday 27, no longer Thursday 26." in page
    assert "knocks" in page
    assert "5.5 h on Friday 27." in page
    again = form(answer) | {"promised_for_0": "2026-11-27"}
    assert at_desk.post(url, again).status_code == 302


def test_a_full_day_is_booked_all_the_same_with_a_reason_that_the_day_sheet_shows(at_desk):
    make.make_bench_hours()
    book_one(5, bench_from=THURSDAY)
    url = book_page(customer_with(4))
    answer = send(at_desk, url, complaint="leaks", bench_from="2026-11-26", promised_for_0="2026-11-26")
    assert answer.status_code == 422
    assert "Thursday 26: 15 min left of 7 h, and the job takes 5.5 h. The first day that fits is Friday 27." in words(
        answer
    )
    typed = form(answer) | {"anyway": "on", "anyway_why": "race on Sunday"}
    assert at_desk.post(url, typed).status_code == 302
    page = words(at_desk.get(reverse("desk:day")))
    assert "12 h 15 min of 7 h booked, 5 h 15 min too many" in page
    assert "all the same: “race on Sunday”" in page


def test_a_promise_before_the_benches_asks(at_desk):
    make.make_bench_hours()
    url = book_page(customer_with(4))
    answer = send(at_desk, url, complaint="leaks", promised_for_1="09:00")
    assert answer.status_code == 422
    assert "The benches finish with it on Thursday 26 at 17:00" in words(answer)
    assert at_desk.post(url, form(answer) | {"promise_anyway": "on"}).status_code == 302


# --- changing


def test_the_desk_changes_a_booking_and_the_order_tells_it(at_desk):
    make.make_bench_hours()
    order = book_one(4)
    page = reverse("desk:change_booking", args=[order.pk])
    answer = send(at_desk, page, arrives_on="2026-11-30", promised_for_0="2026-11-30")
    assert answer.status_code == 422
    assert "The customer was told 26 November 2026 17:00. Say why" in words(answer)
    assert at_desk.post(page, form(answer) | {"why": "customer is away"}).status_code == 302
    assert days(order) == [(MONDAY, 330)]
    assert "(customer is away)" in words(at_desk.get(order.get_absolute_url()))


def test_who_was_second_sees_what_the_first_wrote(at_desk):
    order = book_one(1, promised_for=wall(FRIDAY, 16))
    page = reverse("desk:change_booking", args=[order.pk])
    opened = form(at_desk.get(page))
    assert send(at_desk, page, complaint="leaks a lot", promised_for_0="2026-11-26").status_code == 302
    late = at_desk.post(page, opened | {"complaint": "knocks"})
    assert late.status_code == 409
    told = words(late)
    assert "What the customer says leaks a lot" in told
    assert "Promised for 2026-11-26 16:00" in told
    assert "knocks" in told


def test_on_the_benches_the_page_offers_promise_and_days_only(at_desk):
    make.make_bench_hours()
    order = book_one(4)
    check_in(order=order, meters=[], as_found=[], by=order.booked_by, at=NOON)
    page = reverse("desk:change_booking", args=[order.pk])
    filled = form(at_desk.get(page))
    assert "complaint" not in filled
    assert "dampers" not in filled
    typed = {"bench_from": "2026-11-27", "promised_for_0": "2026-11-27", "why": "Rosa is ill"}
    assert send(at_desk, page, **typed).status_code == 302
    assert days(order) == [(FRIDAY, 330)]


# --- the day sheet


def test_the_sheet_groups_by_what_the_desk_does_next(at_desk):
    make.make_bench_hours()
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-9")
    make.make_part("SK-9")
    customer = make.make_customer()
    waiting = book_one(customer=customer, dampers=[make.make_damper(customer=customer, model=model)])
    late = book_one(1, promised_for=NOON - timedelta(minutes=30), promise_anyway=True)
    fine = book_one(1, promised_for=wall(FRIDAY, 17))
    for order in (waiting, late, fine):
        check_in(order=order, meters=[], as_found=[], by=order.booked_by, at=NOON)
    page = at_desk.get(reverse("desk:day"))
    groups = {group["key"]: [row["order"] for row in group["rows"]] for group in page.context["groups"]}
    assert groups == {
        "late": [late], "arriving": [], "on_bench": [fine], "waiting": [waiting], "ready": [], "coming": [],
    }  # fmt: skip
    assert "Waits for seal kit (SK-9), not ordered, and no supplier is known for SK-9." in words(page)


def test_a_day_can_be_leafed_to(at_desk):
    make.make_bench_hours()
    book_one(4, arrives_on=FRIDAY)
    page = words(at_desk.get(reverse("desk:day"), {"day": "2026-11-27"}))
    assert "Friday 27 November" in page
    assert "Bench hours: 5.5 h of 7 h booked" in page
    for heading in ("Arriving", "On the benches", "Promised"):
        assert f"{heading} 1 job, 4 dampers" in page
    empty = words(at_desk.get(reverse("desk:day"), {"day": "2026-11-28"}))
    assert "Nobody is expected." in empty
    for nonsense in ("soon", "2026-02-30", "9999-12-31", "\x00"):
        assert at_desk.get(reverse("desk:day"), {"day": nonsense}).status_code == 422
    for edge in ("1990-01-01", "2100-12-31"):
        assert at_desk.get(reverse("desk:day"), {"day": edge}).status_code == 200


def test_another_day_takes_as_many_queries_for_many_orders(at_desk, django_assert_num_queries):
    make.make_bench_hours()
    url = reverse("desk:day") + "?day=2026-11-27"
    for _ in range(2):
        book_one(1, arrives_on=FRIDAY)
    at_desk.get(url)
    with CaptureQueriesContext(connection) as few:
        at_desk.get(url)
    for _ in range(2):
        book_one(1, arrives_on=FRIDAY)
    with django_assert_num_queries(len(few)):
        at_desk.get(url)
