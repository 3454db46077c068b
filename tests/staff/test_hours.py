"""The working calendar in words and numbers, and that what was true before stays true."""

from datetime import date, datetime, time

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.staff.bench_calendar import BenchCalendar
from shop.staff.models import BenchHours, ClosedDay, Role
from shop.staff.services import add_closed_day, end_closed_day, let_go, set_bench_hours, set_working_hours
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db
WEDNESDAY, THURSDAY = date(2026, 11, 25), date(2026, 11, 26)


def minutes(on):
    return BenchCalendar(min(on, WEDNESDAY)).shift(on).minutes


def test_a_person_who_is_let_go_gives_no_hours_from_that_day_on_and_gave_them_before():
    person = make.make_bench_hours()
    let_go(user=person, by=make.make_user(Role.MANAGER), at=NOON)
    assert (minutes(date(2026, 11, 24)), minutes(WEDNESDAY), minutes(THURSDAY)) == (420, 0, 0)
    with pytest.raises(ValidationError, match="does not work here any more"):
        set_bench_hours(person=person, from_day=THURSDAY, week=[60] * 7, by="test", at=NOON)


def test_nobody_is_longer_at_the_benches_than_the_shop_works():
    person = make.make_bench_hours()
    set_working_hours(from_day=THURSDAY, week=[(time(8), time(10))] * 5 + [None, None], by="test", at=NOON)
    assert (minutes(WEDNESDAY), minutes(THURSDAY)) == (420, 120)
    assert BenchHours.objects.filter(person=person).count() == 7


def test_hours_set_again_for_the_same_day_take_the_place_of_the_first():
    person = make.make_bench_hours()
    for count in (60, 90):
        set_bench_hours(person=person, from_day=THURSDAY, week=[count] * 7, by="test", at=NOON)
    assert minutes(THURSDAY) == 90
    assert person.bench_hours.filter(from_day=THURSDAY).count() == 7


def test_a_yearly_day_that_is_given_up_was_closed_before():
    make.make_bench_hours()
    then = timezone.make_aware(datetime(2026, 1, 10, 12))
    row = add_closed_day(name="Founders' Day", first_day=date(2026, 1, 10), month=2, day=3, by="test", at=then)
    end_closed_day(closed_day=row, by="test", at=NOON)
    calendar = BenchCalendar(date(2026, 1, 1))
    assert calendar.shift(date(2026, 2, 3)).why_none == "closed, Founders' Day"
    assert calendar.shift(date(2027, 2, 3)).minutes == 420
    end_closed_day(closed_day=row, by="test", at=NOON)
    assert ClosedDay.objects.count() == 1


@pytest.mark.parametrize(("hour", "left"), [(6, 420), (8, 420), (10, 420), (12, 300), (16, 60), (17, 0), (23, 0)])
def test_of_today_nobody_gives_more_than_is_left_until_closing(hour, left):
    make.make_bench_hours()
    now = timezone.make_aware(datetime(2026, 11, 25, hour))
    assert BenchCalendar(WEDNESDAY).shift(WEDNESDAY).minutes_left(now) == left
