"""Parts lists and service intervals: what is entered here is what orders take and what forecasts rest on."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.specs.intervals import interval_for
from shop.specs.models import KitLine
from shop.specs.parts_lists import as_seen, in_order
from shop.specs.services import (
    ListedPart,
    add_kit_line,
    change_kit_line,
    copy_parts_list,
    remove_kit_line,
    set_interval,
    write_parts_list,
)
from shop.staff.models import AuditEntry
from shop.workorders.services import check_in
from tests import factories as make
from tests.factories import MILE, NOON

pytestmark = pytest.mark.django_db


def add(by, damper_model, **given):
    defaults = {"part_number": "SK-H2", "name": "seal kit H2", "measure": "count", "amount": 1}
    return add_kit_line(damper_model=damper_model, **defaults | given, by=by, at=NOON)


def test_an_order_takes_up_the_parts_list_when_it_is_checked_in(manager, desk):
    """290 mL, of the sheet, and the shop's 10 % for bleeding and spilling."""
    damper = make.make_damper(model=make.make_damper_model())
    make.make_sheet(damper.model, oil=290)
    order = make.make_order(by=desk, dampers=[damper])
    assert not order.pick_list.lines.exists()
    add(manager, damper.model)
    add(manager, damper.model, part_number="TARN-5", name="damper oil", measure="volume", amount=None)
    gone = add(manager, damper.model, part_number="SG-1", name="seal grease", measure="mass", amount=4000)
    add(manager, damper.model, part_number="SK-OLD", year_to=damper.model_year - 1)
    remove_kit_line(line=gone, by=manager, at=NOON)
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    assert set(order.pick_list.lines.values_list("part_number", "amount")) == {("SK-H2", 1), ("TARN-5", 319_000)}


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"amount": 0}, "No damper takes 0"),
        ({"amount": 10**6 + 1}, "1000001 for one damper is a slip; at most 1000000"),
        ({"amount": None}, "only oil may take it from the spec sheet"),
        ({"year_from": 2015, "year_to": 2014}, "2014 lies before the first model year, 2015"),
        ({"part_number": "sg-1", "year_from": 2014}, "SG-1 seal grease, 4 g, model years to 2014 is in this"),
        ({"part_number": "  "}, "cannot be blank"),
        ({"measure": "smell"}, "not a valid choice"),
    ],
)
def test_a_line_that_cannot_be_is_refused_and_leaves_no_trace(manager, given, told):
    damper = make.make_damper_model()
    make.make_kit_line(damper, "SG-1", 4000, "mass", name="seal grease", year_to=2014)
    with pytest.raises(ValidationError, match=told):
        add(manager, damper, **given)
    assert damper.kit_lines.count() == 1
    assert not AuditEntry.objects.exists()


def test_the_same_part_may_stand_twice_for_model_years_that_do_not_meet(manager):
    damper = make.make_damper_model()
    add(manager, damper, amount=1, year_to=2014)
    add(manager, damper, amount=2, year_from=2015)
    assert damper.kit_lines.count() == 2


def test_a_line_is_removed_once(manager):
    damper = make.make_damper_model()
    line = add(manager, damper)
    for _ in range(2):
        remove_kit_line(line=line, by=manager, at=NOON)
    assert not damper.kit_lines.exists()
    told = AuditEntry.objects.filter(kind="dampermodel", key=str(damper.pk)).values_list("what", flat=True)
    assert list(told) == [
        "off the parts list: SK-H2 seal kit H2, 1, all model years",
        "parts list: SK-H2 seal kit H2, 1, all model years",
    ]


def test_a_new_interval_holds_and_makes_the_forecasts_that_rest_on_it_stale(manager):
    damper = make.make_damper(make.make_vehicle(forecast_stale=False))
    other = make.make_damper(make.make_vehicle(forecast_stale=False))
    make.make_damper(model=damper.model)  # a loose one has no forecast
    set_interval(damper_model=damper.model, months=12, source="bench notes", by=manager, at=NOON)
    set_interval(
        damper_model=damper.model, months=6, distance=parse("800 mi", "distance"), hours=parse("40 h", "time"),
        source="the shop's own", by=manager, at=NOON,
    )  # fmt: skip
    found = interval_for([damper.model]).interval
    assert (found.months, found.hours_s, found.source) == (6, 144_000, "the shop's own")
    assert found.distance_m == pytest.approx(800 * MILE)
    for one, stale in ((damper, True), (other, False)):
        one.vehicle.refresh_from_db()
        assert one.vehicle.forecast_stale is stale
    latest = AuditEntry.objects.filter(kind="dampermodel").first()
    assert latest.what == "service interval: 6 months or 800 mi or 40 h (the shop's own)"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({}, "at least one of months, distance and hours"),
        ({"months": 0}, "cannot be due after zero"),
        ({"months": 6, "distance": parse("0 mi", "distance")}, "cannot be due after zero"),
        ({"months": 6, "source": " "}, "where the interval comes from"),
    ],
)
def test_an_interval_that_says_nothing_is_refused_and_the_earlier_one_holds(manager, given, told):
    damper = make.make_damper_model()
    set_interval(damper_model=damper, months=12, source="bench notes", by=manager, at=NOON)
    with pytest.raises(ValidationError, match=told):
        set_interval(damper_model=damper, **{"source": "the shop's own"} | given, by=manager, at=NOON)
    found = interval_for([damper]).interval
    assert (found.months, found.source) == (12, "bench notes")


# --- optional parts and alternates ------------------------------------------------------------------------------------


def rows(damper):
    return list(damper.kit_lines.order_by("pk").values_list("part_number", "optional", "stands_in_for", "rank"))


def test_one_seal_kit_for_one_damper(manager):
    """Common practice, no source: one seal kit per damper, also where two part numbers name it."""
    damper = make.make_damper(model=make.make_damper_model())
    kit = add(manager, damper.model)
    add(manager, damper.model, part_number="SK-H2-2", stands_in_for=kit)
    order = make.make_order(dampers=[damper])
    assert list(order.pick_list.lines.values_list("part_number", "amount")) == [("SK-H2", 1)]


def test_an_alternate_goes_behind_those_that_are_there_unless_it_is_given_a_rank(manager):
    damper = make.make_damper_model()
    kit = add(manager, damper)
    add(manager, damper, part_number="SK-2", stands_in_for=kit)
    add(manager, damper, part_number="SK-3", stands_in_for=kit)
    add(manager, damper, part_number="SK-0", stands_in_for=kit, rank=1)
    assert [(line.part_number, line.rank) for line in in_order(damper.kit_lines.all())] == [
        ("SK-H2", 0), ("SK-2", 1), ("SK-0", 1), ("SK-3", 2),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"measure": "mass"}, "stands_in_for", "is measured in pieces: an alternate is measured in the same"),
        ({"year_from": 2015}, "stands_in_for", "for model years to 2014, and the alternate for none of them"),
        ({"optional": True}, "optional", "mark that line instead"),
        ({"stands_in_for": "SK-2"}, "stands_in_for", "is itself an alternate, for SK-1 seal kit. Name that line"),
        ({"stands_in_for": "elsewhere"}, "stands_in_for", "is no line of this parts list"),
        ({"rank": 0}, "rank", "A rank is a whole number from 1"),
    ],
)
def test_an_alternate_that_cannot_be_is_refused(manager, given, field, told):
    damper = make.make_damper_model()
    kit = make.make_kit_line(damper, "SK-1", year_to=2014)
    there = {
        "SK-1": kit,
        "SK-2": make.make_alternate(kit, "SK-2", year_to=2014),
        "elsewhere": make.make_kit_line(make.make_damper_model(), "SK-9"),
    }
    given = {"stands_in_for": "SK-1", "part_number": "SK-3"} | given
    with pytest.raises(ValidationError, match=told) as refusal:
        add(manager, damper, **given | {"stands_in_for": there[given["stands_in_for"]]})
    assert set(refusal.value.message_dict) == {field}
    assert damper.kit_lines.count() == 2


def change(by, line, **given):
    now = {name: getattr(line, name) for name in KNOWN}
    seen = as_seen(line.damper_model.kit_lines.all())
    return change_kit_line(line=line, **now | {"seen": seen} | given, by=by, at=NOON)


KNOWN = ("part_number", "name", "measure", "amount", "year_from", "year_to", "optional", "stands_in_for", "rank")


def test_a_line_is_changed_in_place_and_the_history_tells_before_and_after(manager):
    line = add(manager, make.make_damper_model())
    changed = change(manager, line, amount=2, year_to=2020)
    assert (changed.pk, changed.amount) == (line.pk, 2)
    change(manager, changed)  # nothing is different, so nothing is told
    assert [one.what for one in AuditEntry.objects.filter(kind="dampermodel")] == [
        "parts list changed: SK-H2 seal kit H2, 1, all model years; now SK-H2 seal kit H2, 2, model years to 2020",
        "parts list: SK-H2 seal kit H2, 1, all model years",
    ]


def test_of_two_who_change_a_list_the_second_is_told(manager):
    first = add(manager, make.make_damper_model())
    seen = as_seen(first.damper_model.kit_lines.all())
    second = add(manager, first.damper_model, part_number="SG-1")
    with pytest.raises(Conflict, match="Somebody else has changed the parts list"):
        change(manager, first, amount=2, seen=seen)
    remove_kit_line(line=second, by=manager, at=NOON)
    assert change(manager, first, amount=2, seen=seen).amount == 2  # it says again what was seen


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"measure": "mass"}, "SK-2 seal kit stands in for it and is measured in pieces"),
        ({"year_from": 2016}, "SK-2 seal kit stands in for it in model years to 2014, which this leaves out"),
        ({"stands_in_for": "other"}, "SK-2 seal kit stands in for this line"),
        ({"stands_in_for": "itself"}, "cannot stand in for itself"),
        ({"part_number": "sg-1"}, "SG-1 seal kit, 1, all model years is in this parts list already"),
    ],
)
def test_a_change_that_its_alternates_cannot_follow_is_refused(manager, given, told):
    damper = make.make_damper_model()
    kit = make.make_kit_line(damper, "SK-1")
    make.make_alternate(kit, "SK-2", year_to=2014)
    other = make.make_kit_line(damper, "SG-1")
    if "stands_in_for" in given:
        given = {"stands_in_for": {"other": other, "itself": kit}[given["stands_in_for"]], "rank": None}
    with pytest.raises(ValidationError, match=told):
        change(manager, kit, **given)


def test_a_line_that_comes_off_takes_its_alternates_with_it(manager):
    damper = make.make_damper_model()
    kit = make.make_kit_line(damper, "SK-1")
    make.make_alternate(kit, "SK-2")
    make.make_kit_line(damper, "SG-1")
    remove_kit_line(line=kit, by=manager, at=NOON)
    assert [row[0] for row in rows(damper)] == ["SG-1"]
    assert AuditEntry.objects.filter(what__startswith="off the parts list").count() == 2


# --- the whole list ---------------------------------------------------------------------------------------------------


def listed(part_number, line=None, **given):
    defaults = {"name": "seal kit", "measure": "count", "amount": 1}
    return ListedPart(part_number=part_number, line=line, **defaults | given)


def write(by, damper, *lines, seen=None):
    seen = as_seen(damper.kit_lines.all()) if seen is None else seen
    return write_parts_list(damper_model=damper, lines=list(lines), seen=seen, by=by, at=NOON)


def test_a_list_is_written_whole_and_each_change_of_it_is_told(manager):
    damper = make.make_damper_model()
    kit, grease = make.make_kit_line(damper, "SK-1"), make.make_kit_line(damper, "SG-1", 4000, "mass", name="grease")
    gone = make.make_kit_line(damper, "BR-1", name="bumper")
    write(
        manager, damper,
        listed("SK-2", stands_in_for="sk-1 "),
        listed("SK-1", kit, amount=2),
        listed("SH-1", name="shaft", optional=True),
        listed("SG-1", grease, name="grease", measure="mass", amount=4000),
    )  # fmt: skip
    assert set(rows(damper)) == {
        ("SK-1", False, None, 0), ("SG-1", False, None, 0), ("SH-1", True, None, 0), ("SK-2", False, kit.pk, 1),
    }  # fmt: skip
    assert [one.what for one in AuditEntry.objects.order_by("pk")] == [
        "off the parts list: BR-1 bumper, 1, all model years",
        "parts list: SK-2 seal kit, 1, all model years, in the place of SK-1, rank 1",
        "parts list changed: SK-1 seal kit, 1, all model years; now SK-1 seal kit, 2, all model years",
        "parts list: SH-1 shaft, 1, all model years, if the inspection asks for it",
    ]
    assert not KitLine.objects.filter(pk=gone.pk).exists()


def test_two_lines_may_exchange_their_numbers_and_an_alternate_may_become_the_part_itself(manager):
    damper = make.make_damper_model()
    first = make.make_kit_line(damper, "SK-1")
    second = make.make_alternate(first, "SK-2")
    write(manager, damper, listed("SK-2", first), listed("SK-1", second, stands_in_for="SK-2"))
    assert rows(damper) == [("SK-2", False, None, 0), ("SK-1", False, first.pk, 1)]
    write(manager, damper, listed("SK-1", second))
    assert rows(damper) == [("SK-1", False, None, 0)]


def test_each_row_is_told_what_is_wrong_with_it_and_nothing_is_saved(manager):
    damper = make.make_damper_model()
    kit = make.make_kit_line(damper, "SK-1")
    with pytest.raises(ValidationError) as refusal:
        write(
            manager, damper,
            listed("SK-1", kit, amount=7),
            listed("sk-1"),
            listed("SK-3", stands_in_for="SK-9"),
            listed("", amount=0),
            listed("SG-1", measure="mass", stands_in_for="SK-1"),
            listed("X-1", year_from=2015, year_to=2014),
        )  # fmt: skip
    told = refusal.value.message_dict
    assert set(told) == {
        "lines.0.part_number", "lines.1.part_number", "lines.2.stands_in_for", "lines.3.part_number", "lines.3.amount",
        "lines.4.stands_in_for", "lines.5.year_to",
    }  # fmt: skip
    assert told["lines.2.stands_in_for"] == ["SK-9 is not in this parts list. Give the part number of another line."]
    kit.refresh_from_db()
    assert (damper.kit_lines.count(), kit.amount) == (1, 1)
    assert not AuditEntry.objects.exists()


def test_a_list_is_not_written_over_what_somebody_else_wrote_meanwhile(manager):
    damper = make.make_damper_model()
    seen = as_seen([])
    make.make_kit_line(damper, "SK-1")
    with pytest.raises(Conflict):
        write(manager, damper, listed("SK-2"), seen=seen)
    assert [row[0] for row in rows(damper)] == ["SK-1"]


def test_a_line_of_another_list_or_one_named_twice_is_refused(manager):
    damper = make.make_damper_model()
    kit = make.make_kit_line(damper, "SK-1")
    stranger = make.make_kit_line(make.make_damper_model(), "SK-9")
    for lines, told in [
        ([listed("SK-9", stranger)], "is no line of the parts list"),
        ([listed("SK-1", kit), listed("SK-2", kit)], "named twice"),
        ([listed(f"P-{n}") for n in range(41)], "41 lines are more than a parts list takes; at most 40"),
    ]:
        with pytest.raises(ValidationError, match=told):
            write(manager, damper, *lines)
    assert rows(damper) == [("SK-1", False, None, 0)]


def test_a_list_is_copied_with_its_alternates_into_one_that_is_empty(manager):
    source, target = make.make_damper_model(), make.make_damper_model()
    kit = make.make_kit_line(source, "SK-1", year_to=2014)
    make.make_alternate(kit, "SK-2", amount=2)
    make.make_kit_line(source, "SH-1", optional=True)
    copy_parts_list(damper_model=source, to=target, by=manager, at=NOON)
    copied = target.kit_lines.get(part_number="SK-1")
    assert set(rows(target)) == {("SK-1", False, None, 0), ("SK-2", False, copied.pk, 1), ("SH-1", True, None, 0)}
    assert copied.year_to == 2014
    assert source.kit_lines.count() == 3
    told = AuditEntry.objects.get(kind="dampermodel", key=str(target.pk)).what
    assert told == f"parts list copied from {source}: SK-1, SK-2, SH-1"
    for one, to, words in [
        (source, target, f"{target} has a parts list already, of 3 lines"),
        (source, source, "the list's own damper model"),
        (make.make_damper_model(), make.make_damper_model(), "has no parts list that could be copied"),
    ]:
        with pytest.raises(ValidationError, match=words):
            copy_parts_list(damper_model=one, to=to, by=manager, at=NOON)
