"""What stands in the book is found by any part of it, whichever way it came in."""

import string

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from shop.core.models import SearchEntry
from shop.core.search import asking, index, words
from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.dampers.models import Damper, DamperModel
from shop.workorders.models import WorkOrder
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def found(text, **more):
    return {(hit.kind, hit.key) for hit in asking.find(text, **more).hits}


@pytest.fixture
def calloway():
    owner = make.make_customer(name="Zoë O'Brien-Calloway", phone="(555) 555-0142", email="zoe.b@example.org")
    model = make.make_vehicle_model(name="Cairn 7")
    vehicle = make.make_vehicle(customer=owner, model=model, plate="KLR-204", vin="1OSTR00000H012345")
    damper = make.make_damper(vehicle, serial="PV-88/3")
    return owner, vehicle, damper, make.make_order(dampers=[damper])


@pytest.mark.flow
@pytest.mark.parametrize(
    "text",
    ["zoe", "ZOË", "o'brien", "obrien", "calloway", "allow", "zoe calloway", "555-555-0142", "(555) 555", "0142",
     "+555 555 0142", "zoe.b@example.org", "b@example", "zo", "z"],
)  # fmt: skip
def test_a_customer_is_found_by_any_part_however_it_is_written(calloway, text):
    make.make_customer(name="Theo Marsh", phone="555-0108", email="theo@example.com")
    assert ("customer", calloway[0].pk) in found(text)


@pytest.mark.flow
@pytest.mark.parametrize(
    ("place", "text"),
    [(1, "klr204"), (1, "klr 204"), (1, "KLR-204"), (1, "012345"), (1, "1ostr00000h012345"), (1, "cairn 2015"),
     (2, "pv88"), (2, "PV-88/3"), (2, "88/3"), (1, "calloway cairn"), (1, "0142 cairn"), (3, "calloway cairn")],
)  # fmt: skip
def test_vehicle_damper_and_order_are_found_by_their_own_words_and_their_owners(calloway, place, text):
    make.make_vehicle()
    kind = ("customer", "vehicle", "damper", "order")[place]
    assert (kind, calloway[place].pk) in found(text)


@pytest.mark.flow
def test_every_word_has_to_be_found(calloway):
    assert found("calloway marsh") == set()


@pytest.mark.flow
def test_whole_words_come_before_beginnings_and_those_before_parts():
    part, begun, whole = (make.make_customer(name=name) for name in ("Hans Overmarsh", "Hans Marshall", "Hans Marsh"))
    assert [hit.key for hit in asking.find("marsh").hits] == [whole.pk, begun.pk, part.pk]


@pytest.mark.flow
def test_what_is_past_comes_last():
    owner = make.make_customer(name="Ada Fernsby")
    sold = make.make_vehicle(customer=owner, plate="QX-1", sold_on=NOON.date())
    kept = make.make_vehicle(customer=owner, plate="QX-10")
    assert [(hit.key, hit.past) for hit in asking.find("qx1").hits] == [(kept.pk, False), (sold.pk, True)]


@pytest.mark.flow
def test_a_slip_of_the_finger_is_forgiven_and_told():
    owner = make.make_customer(name="Ines Calloway")
    for text in ("caloway", "callowya", "kalloway", "calloqay", "ines caloway"):
        answer = asking.find(text)
        assert [hit.key for hit in answer.hits] == [owner.pk], text
        assert answer.alike == ["calloway"]
        assert answer.unknown == [text.split()[-1]]


@pytest.mark.flow
def test_an_exact_hit_is_never_mixed_with_alike_ones():
    caloway = make.make_customer(name="Ben Caloway")
    make.make_customer(name="Ines Calloway")
    answer = asking.find("caloway")
    assert [hit.key for hit in answer.hits] == [caloway.pk]
    assert answer.alike == []


@pytest.mark.flow
@pytest.mark.parametrize(
    "text", ["", " ", "%", "_", "'", '"', "*", "-", "😀", "a b c d e f g h i j", "\u0000", "x" * 100, "l%m"]
)
def test_nonsense_finds_nothing_and_breaks_nothing(calloway, text):
    assert ("customer", calloway[0].pk) not in found(text)
    asking.entries(text, "customer")


@pytest.mark.flow
def test_common_words_are_answered_without_ranking_all_of_them(monkeypatch):
    monkeypatch.setattr(asking, "MANY", 5)
    rows = [make.make_customer(name=f"Hans Overmarsh {n}") for n in range(7)]
    best = make.make_customer(name="Hans Marsh")
    gone = make.make_customer(name="Pia Marsh", merged_into=rows[0])
    hits = asking.find("marsh", most=4).hits
    assert hits[0].key == best.pk
    assert len(hits) == 4
    assert gone.pk not in [hit.key for hit in hits]
    assert len(asking.find("marsh", most=20).hits) == 9
    assert asking.entries("marsh", "customer")[0].count() == 9


@pytest.mark.flow
def test_the_entries_follow_every_change_whichever_way_it_comes(calloway):
    owner, vehicle, damper, order = calloway
    assert index.astray() == 0
    Customer.objects.filter(pk=owner.pk).update(name="Zoë Fernsby")
    assert found("calloway") == set()
    assert ("vehicle", vehicle.pk) in found("fernsby cairn")
    VehicleModel.objects.filter(pk=vehicle.model_id).update(name="Gulch 9")
    DamperModel.objects.filter(pk=damper.model_id).update(name="Q-4")
    assert ("order", order.pk) in found("gulch fernsby")
    assert ("damper", damper.pk) in found("q4")
    other = make.make_customer(name="Pia Overmarsh")
    Vehicle.objects.filter(pk=vehicle.pk).update(customer=other, plate="")
    assert ("vehicle", vehicle.pk) in found("overmarsh")
    assert found("klr204") == set()
    WorkOrder.objects.filter(pk=order.pk).update(status="called_off", called_off_why="changed his mind")
    assert SearchEntry.objects.get(kind="order", key=order.pk).past
    Damper.objects.filter(pk=damper.pk).update(serial="")
    assert found("pv88") == set()
    Customer.objects.bulk_create([Customer(name=f"Bulk Person {n}", created_at=NOON) for n in range(3)])
    assert len(found("bulk person")) == 3
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM customers_customer WHERE name = 'Bulk Person 1'")
    assert len(found("bulk person")) == 2
    assert index.astray() == 0


@pytest.mark.flow
def test_the_rebuild_writes_the_same_entries_and_mends_what_is_astray(calloway, capsys):
    call_command("rebuild_search", check=True)
    stored = set(SearchEntry.objects.values_list("kind", "key", "customer", "past", "own", "text"))
    call_command("rebuild_search")
    assert set(SearchEntry.objects.values_list("kind", "key", "customer", "past", "own", "text")) == stored
    SearchEntry.objects.filter(kind="customer").update(text="  somebody  else  ")
    SearchEntry.objects.filter(kind="order").delete()
    with pytest.raises(CommandError, match="not as they should be"):
        call_command("rebuild_search", check=True)
    assert index.mend() == 3
    assert index.astray() == 0
    assert ("customer", calloway[0].pk) in found("calloway")
    assert found("caloway"), "the words are there after a rebuild too"
    assert "written anew" in capsys.readouterr().out


@pytest.mark.flow
def test_the_triggers_are_off_while_tables_change_and_catch_up_behind(calloway):
    owner = calloway[0]
    index.take_off()
    Customer.objects.filter(pk=owner.pk).update(name="Pia Marsh")
    assert index.astray() > 0
    index.after_migrating(using="default", plan=[("something", False)])
    assert index.astray() == 0
    assert ("customer", owner.pk) in found("pia marsh")
    Customer.objects.filter(pk=owner.pk).update(name="Ada Marsh")
    assert ("customer", owner.pk) in found("ada")


LETTERS = string.ascii_letters + string.digits + " -'./éüøßŁčÆœİıςΣжЁ" + "\u00a0\u0301½"


class AnyFragment(TestCase):
    """Of any stored name, plate, number or telephone number."""

    @settings(max_examples=60, deadline=None)
    @given(data=st.data())
    def test_any_three_letters_or_more_find_it(self, data):
        name = data.draw(st.text(LETTERS, min_size=1, max_size=30).filter(words.spaced))
        plate = data.draw(st.text(string.ascii_uppercase + string.digits + "- ", max_size=9))
        vin = data.draw(st.text(string.ascii_uppercase + string.digits, max_size=17))
        phone = data.draw(st.text(string.digits + "+-() ", max_size=14))
        owner = make.make_customer(name=name, phone=phone)
        vehicle = make.make_vehicle(customer=owner, plate=plate, vin=vin)
        for kind, key, stored in (
            ("customer", owner.pk, name), ("customer", owner.pk, phone), ("vehicle", vehicle.pk, plate),
            ("vehicle", vehicle.pk, vin),
        ):  # fmt: skip
            start = data.draw(st.integers(0, max(0, len(stored) - 3)))
            fragment = stored[start : data.draw(st.integers(start + 3, max(start + 3, len(stored))))]
            whole = words.plain(fragment)
            if len(whole) >= 3 and any(len(words.plain(part)) >= 3 for part in fragment.split()):
                assert (kind, key) in found(fragment, most=500), (stored, fragment)
        assert index.astray() == 0

    @settings(max_examples=150, deadline=None)
    @given(text=st.text(LETTERS + "Àﬁ²", max_size=25))
    def test_the_database_folds_words_as_the_program_does(self, text):
        with connection.cursor() as cursor:
            cursor.execute("SELECT search_plain(%s), search_spaced(%s), search_one_spaced(%s)", [text] * 3)
            assert cursor.fetchone() == (words.plain(text), words.spaced(text), words.one_spaced(text))


@pytest.mark.parametrize(
    ("asked", "word", "slips"),
    # Counted by hand from the definition of the optimal string alignment distance; what is only begun is no slip.
    [("calloway", "calloway", 0), ("caloway", "calloway", 1), ("clalway", "calloway", 2), ("callowya", "calloway", 1),
     ("callo", "calloway", 0), ("xalloway", "calloway", 1), ("abc", "xyz", 3), ("", "abc", 0)],
)  # fmt: skip
def test_slips_are_counted(asked, word, slips):
    assert words.slips(asked, word) == slips


@pytest.mark.flow
def test_of_alike_words_the_shorter_one_stands_for_those_that_go_on():
    for name in ("Petra Oyelaran", "Petra Oyelaran-Wick", "Petra Oyelaranson"):
        make.make_customer(name=name)
    answer = asking.find("oyelran")
    assert answer.alike == ["oyelaran"]
    assert len(answer.hits) == 3
    assert asking.entries("oyelran", "customer")[0].count() == 3


def test_short_words_are_never_alike():
    assert words.nearest("kim", ["jim", "kit"]) == []
    assert words.nearest("inse", ["ines", "rosa"]) == ["ines"]
