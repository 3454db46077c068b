"""The bench PIN proves the second person on a shared tablet."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from shop.staff.services import confirm_bench_pin, create_user, set_bench_pin
from tests.factories import NOON


@pytest.fixture
def person(technician):
    return set_bench_pin(user=technician, pin="2468", by="test", at=NOON)


def test_the_right_pin_passes_and_is_kept_hashed(person):
    confirm_bench_pin(user=person, pin="2468", at=NOON)
    assert "2468" not in person.bench_pin


@pytest.mark.parametrize("pin", ["", "123", "123456789", "12a4", "١٢٣٤", "12 34"])
def test_a_pin_has_four_to_eight_digits(technician, pin):
    with pytest.raises(ValidationError, match="4 to 8 digits"):
        set_bench_pin(user=technician, pin=pin, by="test", at=NOON)


def test_five_misses_lock_it_for_ten_minutes_even_for_the_right_pin(person):
    for left in (4, 3, 2, 1):
        with pytest.raises(ValidationError, match=f"{left} tr(y|ies) left"):
            confirm_bench_pin(user=person, pin="0000", at=NOON)
    with pytest.raises(ValidationError, match="locked for 10 min"):
        confirm_bench_pin(user=person, pin="0000", at=NOON)
    with pytest.raises(ValidationError, match="locked for another"):
        confirm_bench_pin(user=person, pin="2468", at=NOON + timedelta(minutes=9))
    confirm_bench_pin(user=person, pin="2468", at=NOON + timedelta(minutes=10))


def test_a_right_pin_forgets_earlier_misses(person):
    for _ in range(4):
        with pytest.raises(ValidationError):
            confirm_bench_pin(user=person, pin="0000", at=NOON)
    confirm_bench_pin(user=person, pin="2468", at=NOON)
    with pytest.raises(ValidationError, match="4 tries left"):
        confirm_bench_pin(user=person, pin="0000", at=NOON)


def test_without_a_pin_nobody_passes(technician):
    with pytest.raises(ValidationError, match="no bench PIN yet"):
        confirm_bench_pin(user=technician, pin="", at=NOON)


def test_a_new_person_needs_a_password_worth_the_name(db):
    with pytest.raises(ValidationError) as refused:
        create_user(username="nia", password="nia", role="desk", first_name="Nia", by="test", at=NOON)
    assert "password" in refused.value.message_dict
