"""The used-oil log adds up, asks where it has to, and is corrected by lines that say so."""

from datetime import date, timedelta
from fractions import Fraction

import pint
import pytest
from django.core.exceptions import ValidationError
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.parts.models import Drum, OilEntry, OilEntryKind
from shop.parts.services import add_drum, correct_entry, hand_over, pour_in, retire_drum
from shop.parts.used_oil import drum_states, exact_ml, held_by, in_words, oil_log, span_of
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db
TODAY = NOON.date()


@pytest.fixture
def drum(manager):
    return make_drum(manager)


def make_drum(by, name="Used Oil 1", holds="oil", capacity="200 L"):
    return add_drum(name=name, holds=holds, capacity=parse(capacity, "volume"), by=by, at=NOON)


def poured(drum, text, by, **given):
    defaults = {"fluid": "oil", "on": TODAY, "at": NOON}
    return pour_in(drum=drum, entered=parse(text, "volume"), by=by, **defaults | given)


def handed(drum, text, by, **given):
    defaults = {"hauler": "Basin Oil Recovery (invented)", "document": "M-1", "on": TODAY, "at": NOON}
    return hand_over(drum=drum, entered=text and parse(text, "volume"), by=by, **defaults | given)


@pytest.mark.flow
def test_a_drum_holds_what_was_poured_in_less_what_was_handed_over(drum, desk):
    poured(drum, "340 mL", desk, look="dark", bag="1042-3", source="1042-3 rear left")
    poured(drum, "2 qt", desk)
    poured(drum, "12 L", desk)
    handed(drum, "10 L", desk)
    # 2 US quarts are 1 892 705.892 µL: NIST SP 811, the US gallon is 231 cubic inches.
    assert held_by(drum) == 340_000 + 1_892_706 + 12_000_000 - 10_000_000
    (log,) = oil_log(TODAY, TODAY).drums
    assert (log.opening, log.poured, log.handed_over, log.difference, log.closing) == (
        0, 14_232_706, 10_000_000, 0, 4_232_706,
    )  # fmt: skip
    assert [line.words for line in log.lines][:2] == ["used oil, dark, from 1042-3 rear left", "used oil"]
    assert exact_ml(log.closing) == "4232.706"


VOLUMES = st.tuples(st.integers(1, 2600), st.sampled_from(["mL", "L", "qt", "gal", "fl oz"]))
PINT = {"mL": "milliliter", "L": "liter", "qt": "quart", "gal": "gallon", "fl oz": "fluid_ounce"}


@settings(max_examples=25, deadline=None)
@given(volumes=st.lists(VOLUMES, min_size=1, max_size=8))
def test_sums_agree_with_a_library_of_units(django_db_blocker, volumes):
    """Reference: pint, whose quart, gallon and fluid ounce are those of the US; each entry is rounded once, to 1 µL."""
    from django.db import transaction

    ureg = pint.UnitRegistry()
    with transaction.atomic():
        user = make.make_user("desk")
        drum = make_drum(user, capacity="10000 L")
        try:
            for number, unit in volumes:
                poured(drum, f"{number} {unit}", user, sure=True)
            expected = sum(Fraction((number * ureg(PINT[unit])).to("microliter").magnitude) for number, unit in volumes)
            assert abs(held_by(drum) - expected) <= Fraction(len(volumes), 2)
            (log,) = oil_log(TODAY, TODAY).drums
            printed = sum(Fraction(exact_ml(line.poured)) for line in log.lines)
            assert printed == Fraction(exact_ml(log.poured)) == Fraction(exact_ml(log.closing))
        finally:
            transaction.set_rollback(True)


def test_what_does_not_belong_in_a_drum_is_refused(drum, desk):
    with pytest.raises(
        ValidationError, match=r"may turn all of it into hazardous waste. Choose a drum for spent solvent"
    ):
        poured(drum, "1 L", desk, fluid="solvent")
    with pytest.raises(ValidationError, match="has not come yet"):
        poured(drum, "1 L", desk, on=TODAY + timedelta(days=1))
    with pytest.raises(ValidationError, match="more than zero"):
        poured(drum, "0 L", desk)
    with pytest.raises(ValidationError, match="is written off under Stock, which notes it here as well"):
        poured(drum, "1 L", desk, fluid="expired")


def test_a_bag_noted_twice_and_a_drum_that_runs_over_are_asked_about(drum, desk):
    poured(drum, "340 mL", desk, bag="1042-3")
    with pytest.raises(ValidationError, match="Was it drained again"):
        poured(drum, "340 mL", desk, bag="1042-3")
    assert poured(drum, "340 mL", desk, bag="1042-3", sure=True)
    with pytest.raises(ValidationError, match=r"over its capacity. Is it the right drum"):
        poured(drum, "200 L", desk)


def test_a_drum_says_in_words_when_it_nears_its_capacity(drum, desk):
    poured(drum, "159 L", desk)
    assert drum_states()[0].warning == ""
    poured(drum, "1 L", desk)
    assert drum_states()[0].warning == "Nearly full: room for 40.00 L more. Call the hauler."
    poured(drum, "50 L", desk, sure=True)
    assert drum_states()[0].warning.startswith("Over its capacity by 10.00 L")


def test_more_than_the_drum_holds_is_asked_about_and_then_the_difference_is_a_line_of_its_own(drum, desk):
    poured(drum, "100 L", desk)
    with pytest.raises(ValidationError, match=r"holds 100.00 L; 120 L is 20.00 L more"):
        handed(drum, "120 L", desk)
    handed(drum, "120 L", desk, sure=True)
    (log,) = oil_log(TODAY, TODAY).drums
    assert (log.poured, log.handed_over, log.difference, log.closing) == (100_000_000, 120_000_000, 20_000_000, 0)


def test_an_emptied_drum_is_empty_whatever_the_hauler_measured(drum, desk):
    poured(drum, "100 L", desk)
    handed(drum, "97 L", desk, emptied=True)
    (log,) = oil_log(TODAY, TODAY).drums
    assert (log.handed_over, log.difference, log.closing) == (97_000_000, -3_000_000, 0)
    poured(drum, "5 L", desk)
    assert handed(drum, None, desk, emptied=True).amount == -5_000_000
    with pytest.raises(ValidationError, match="Give the volume"):
        handed(drum, None, desk)
    with pytest.raises(ValidationError, match="cannot be handed over"):
        handed(drum, None, desk, emptied=True)


def test_a_wrong_line_is_corrected_by_one_that_names_it(drum, desk):
    wrong = poured(drum, "2 L", desk, look="dark", source="the parts washer")
    right = correct_entry(entry=wrong, entered=parse("2 qt", "volume"), why="quarts, not litres", by=desk, at=NOON)
    assert held_by(drum) == 1_892_706
    assert (right.corrects, right.look, right.source) == (wrong, "dark", "the parts washer")
    with pytest.raises(Conflict, match=f"corrected by no. {right.pk}"):
        correct_entry(entry=wrong, entered=parse("1 L", "volume"), why="again", by=desk, at=NOON)
    correct_entry(entry=right, why="was never drained", by=desk, at=NOON)
    assert held_by(drum) == 0
    lines = oil_log(TODAY, TODAY).drums[0].lines
    assert [line.counts for line in lines] == [False, False, True]
    assert lines[2].note == f"strikes out no. {right.pk}: was never drained"


def test_a_correction_without_a_reason_or_below_nothing_is_refused(drum, desk):
    entry = poured(drum, "10 L", desk)
    handed(drum, "8 L", desk)
    with pytest.raises(ValidationError, match="Say why"):
        correct_entry(entry=entry, entered=parse("9 L", "volume"), why=" ", by=desk, at=NOON)
    with pytest.raises(ValidationError, match="more was handed over than poured in"):
        correct_entry(entry=entry, entered=parse("7 L", "volume"), why="misread", by=desk, at=NOON)


def test_the_difference_follows_a_corrected_handing_over(drum, desk):
    poured(drum, "100 L", desk)
    out = handed(drum, "97 L", desk, emptied=True)
    first = correct_entry(entry=out, entered=parse("98 L", "volume"), why="misread", by=desk, at=NOON)
    correct_entry(entry=first, entered=parse("99 L", "volume"), document="M-2", why="misread", by=desk, at=NOON)
    (log,) = oil_log(TODAY, TODAY).drums
    assert (log.handed_over, log.difference, log.closing) == (99_000_000, -1_000_000, 0)
    found = OilEntry.objects.standing().get(kind=OilEntryKind.FOUND)
    with pytest.raises(ValidationError, match="Correct the handing over"):
        correct_entry(entry=found, entered=parse("1 L", "volume"), why="no", by=desk, at=NOON)


def test_a_month_begins_with_what_the_one_before_left(drum, desk):
    poured(drum, "3 L", desk, on=date(2026, 10, 31))
    poured(drum, "4 L", desk, on=date(2026, 11, 1))
    october, november = (oil_log(*span_of("month", day)).drums[0] for day in (date(2026, 10, 5), date(2026, 11, 30)))
    assert (october.opening, october.closing) == (0, 3_000_000)
    assert (november.opening, november.poured, november.closing) == (3_000_000, 4_000_000, 7_000_000)
    assert oil_log(*span_of("year", TODAY)).total("poured") == 7_000_000
    assert span_of("month", date(2024, 2, 10)) == (date(2024, 2, 1), date(2024, 2, 29))


def test_an_empty_drum_is_taken_out_of_use_and_a_full_one_is_not(drum, desk, manager):
    poured(drum, "1 L", desk)
    with pytest.raises(ValidationError, match=r"holds 1.00 L by the book"):
        retire_drum(drum=drum, by=desk, at=NOON)
    handed(drum, "1 L", desk)
    retire_drum(drum=drum, by=desk, at=NOON)
    with pytest.raises(Conflict, match="out of use"):
        poured(drum, "1 L", desk)
    with pytest.raises(ValidationError, match="There is a drum Used Oil 1 already"):
        make_drum(manager, name="used oil 1")


def test_the_log_takes_as_many_queries_for_forty_entries_as_for_four(drum, desk, django_assert_num_queries):
    for _ in range(4):
        poured(drum, "1 L", desk)
    with django_assert_num_queries(4):
        oil_log(TODAY, TODAY)
    for _ in range(36):
        poured(drum, "1 L", desk)
    with django_assert_num_queries(4):
        oil_log(TODAY, TODAY)


def test_volumes_are_told_as_one_speaks_of_them(settings):
    assert in_words(340_000) == "340 mL"
    assert in_words(12_640_000) == "12.64 L"
    settings.SHOP_UNITS = settings.SHOP_UNITS | {"volume": "fl oz"}
    assert in_words(12_640_000) == "3.34 gal"


@pytest.mark.django_db(transaction=True)
def test_of_two_who_empty_one_drum_at_once_one_is_told():
    user = make.make_user("desk")
    drum = make_drum(user)
    poured(drum, "50 L", user)
    found = at_once(*[lambda: handed(drum, "50 L", user) for _ in range(2)])
    assert [type(one) for one in found].count(OilEntry) == 1
    assert held_by(Drum.objects.get()) == 0
