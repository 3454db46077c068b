from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from shop.parts.models import Container, Part
from shop.parts.selectors import stock_of, to_buy
from shop.parts.services import NewPart, add_container, create_part, create_parts, receive
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def enter(by, **given):
    defaults = {"number": "TARN-5", "name": "damper oil Tarn No. 5", "measure": "volume", "bin": "F-02"}
    return create_part(**defaults | given, by=by, at=NOON)


def test_what_is_entered_can_be_received_and_bought_in_its_containers(desk):
    oil = enter(desk)
    bottle = add_container(part=oil, name="1 L bottle", size=1_000_000, price=Decimal("21.50"), by=desk, at=NOON)
    can = add_container(part=oil, name="5 L can", size=5_000_000, price=Decimal("89"), by=desk, at=NOON)
    receive(part=oil, amount=2_000_000, container=bottle, by=desk, at=NOON)
    stock = stock_of([oil])[oil.pk]
    assert [(one.container, one.full) for one in stock.containers] == [(bottle, 2), (can, 0)]
    assert to_buy(stock, 4_100_000) == [(can, 1)]  # one can for 89.00 is less than five bottles
    told = AuditEntry.objects.filter(kind="part", key=str(oil.pk)).order_by("pk").values_list("what", flat=True)
    assert list(told) == [
        "entered: TARN-5 damper oil Tarn No. 5, measured in volume",
        "container: 1 L bottle, 1000 mL, 21.50",
        "container: 5 L can, 5000 mL, 89",
    ]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"number": "sk-h2"}, "SK-H2 seal kit H2 is a stock item already"),
        ({"number": " "}, "cannot be blank"),
        ({"measure": "count"}, "takes TARN-5 seal kit measured in volume. Choose volume"),
        ({"measure": "smell"}, "not a valid choice|Choose volume"),
    ],
)
def test_a_stock_item_that_cannot_be_is_refused_and_leaves_no_trace(desk, given, told):
    make.make_part("SK-H2", name="seal kit H2")
    make.make_kit_line(make.make_damper_model(), "TARN-5", None, "volume")
    with pytest.raises(ValidationError, match=told):
        enter(desk, **given)
    assert Part.objects.count() == 1
    assert not AuditEntry.objects.exists()


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"size": 0}, "more than 0 mL"),
        ({"size": -1}, "Give what is in it"),
        ({"size": 10**10 + 1}, "at most 10000000 mL"),
        ({"size": 1_000_000}, "1 L bottle holds 1000 mL already"),
        ({"price": Decimal("-0.01")}, "-0.01 cannot be a price"),
        ({"price": Decimal("0.001")}, "no more than 2 decimal places"),
        ({"name": ""}, "cannot be blank"),
    ],
)
def test_a_container_that_cannot_be_is_refused(desk, given, told):
    oil = make.make_part(measure="volume")
    make.make_container(oil, 1_000_000, name="1 L bottle")
    with pytest.raises(ValidationError, match=told):
        add_container(part=oil, **{"name": "can", "size": 5_000_000, "price": Decimal("89")} | given, by=desk, at=NOON)
    assert Container.objects.count() == 1


def test_many_stock_items_are_entered_all_or_none_under_the_same_rules(desk):
    make.make_part("SK-9")
    new = [NewPart("SK-1", "seal  kit", "count", "B-07"), NewPart("SK-2", "oil", "volume", origin="from a.csv, line 3")]
    first, second = create_parts(new=new, by=desk, at=NOON)
    assert (first.number, first.name, first.bin, second.measure) == ("SK-1", "seal kit", "B-07", "volume")
    said = AuditEntry.objects.get(kind="part", key=str(second.pk)).what
    assert said == "entered: SK-2 oil, measured in volume (from a.csv, line 3)"
    for spoilt, field in [
        (NewPart("sk-3", "the same again", "count"), "number"), (NewPart("sk-9", "there already", "count"), "number"),
        (NewPart("SK-4", "", "count"), "name"), (NewPart("SK-4", "x", "kilos"), "measure"),
        (NewPart("SK-4", "x", "count", "b" * 21), "bin"),
    ]:  # fmt: skip
        with pytest.raises(ValidationError) as refused:
            create_parts(new=[NewPart("SK-3", "seal kit", "count"), spoilt], by=desk, at=NOON)
        assert set(refused.value.message_dict) == {field}
    assert Part.objects.count() == 3
