"""The way through the stock room: one order for every list, the same on both databases."""

import random

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.parts.models import Part, WalkStop
from shop.parts.services import set_walking_order
from shop.parts.walking import Walk, present_walk, stretches
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once


def in_order(bins, *prefixes):
    shuffled = list(bins)
    random.Random(5).shuffle(shuffled)
    return sorted(shuffled, key=Walk(prefixes).key)


def test_without_a_word_from_the_shop_bins_go_by_letter_and_number_and_no_bin_comes_last():
    bins = ["A-2", "B-7", "B-12", "C-1-9", "C-1-10", "c-2", "", "  "]
    assert [one.strip() for one in in_order(bins)] == ["A-2", "B-7", "B-12", "C-1-9", "C-1-10", "c-2", "", ""]


def test_the_shops_stops_come_first_in_its_order_and_the_longest_that_fits_counts():
    bins = ["F-2", "B-1-3", "B-12", "B-7", "A-1", ""]
    assert in_order(bins, "F", "B", "B-1") == ["F-2", "B-7", "B-12", "B-1-3", "A-1", ""]


def test_a_prefix_ends_where_a_letter_or_a_number_ends():
    assert in_order(["BA-1", "B-12", "B-1"], "B-1") == ["B-1", "B-12", "BA-1"]
    assert Walk(("B-7",)).key("b 07")[:2] == (0, 0)


@pytest.mark.django_db
@pytest.mark.flow
def test_the_order_is_said_once_and_noted(manager):
    entry = set_walking_order(prefixes=[" f ", "b-1"], seen=Walk().seen, by=manager, at=NOON)
    assert present_walk().prefixes == ("F", "B-1")
    assert entry.what == "walking order: F, B-1"
    set_walking_order(prefixes=[], by=manager, at=NOON)
    assert not WalkStop.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("prefixes", "words"),
    [
        (["B", "b"], "the same stretch"),
        (["--"], "begins no bin"),
        (["B" * 21], "longer than"),
        ([f"B{n}" for n in range(201)], "at most 200"),
    ],
)
def test_what_is_no_order_is_refused(manager, prefixes, words):
    with pytest.raises(ValidationError, match=words):
        set_walking_order(prefixes=prefixes, by=manager, at=NOON)


@pytest.mark.django_db
def test_who_saw_another_order_is_told(manager):
    seen = present_walk().seen
    set_walking_order(prefixes=["B"], seen=seen, by=manager, at=NOON)
    with pytest.raises(Conflict, match="present order, B"):
        set_walking_order(prefixes=["C"], seen=seen, by=manager, at=NOON)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_say_it_at_once_one_order_stands_whole():
    manager = make.make_user("manager")
    set_walking_order(prefixes=["A"], by=manager, at=NOON)
    at_once(*[lambda one=one: set_walking_order(prefixes=one, by=manager, at=NOON) for one in (["B", "C"], ["D", "E"])])
    assert present_walk().prefixes in {("B", "C"), ("D", "E")}


@pytest.mark.django_db
def test_every_beginning_of_a_bin_is_offered_with_the_number_of_its_items():
    for place in ("B-7", "b-12", "F-2", "", "C-1"):
        make.make_part(bin=place)
    told = [(one.prefix, one.items, one.place) for one in stretches(Walk(("F",)))]
    assert told == [("F", 1, 1), ("B", 2, None), ("C", 1, None)]
    assert Part.objects.count() == 5
