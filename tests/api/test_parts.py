import pytest

from shop.parts.models import Movement
from shop.specs.models import KitMeasure
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import make_booked, make_family


@pytest.fixture
def oil(db):
    oil = make.make_part("TARN-5", name="Tarn No. 5", measure=KitMeasure.VOLUME, bin="F-02")
    make.make_container(oil, 1_000_000, name="1 L bottle", full=2)
    return oil


def test_stock_is_told_per_container_in_the_unit_of_the_shop(at_bench, oil):
    make.make_movement(oil, -340_000, container=oil.containers.get(), kind="used")
    told = at_bench.get(f"parts/{oil.pk}/").json()
    assert told["on_hand"] == {"figures": "1660", "unit": "mL", "si": pytest.approx(0.00166)}
    (shelf,) = told["containers"]
    assert (shelf["name"], shelf["full"], shelf["opened"]["figures"], shelf["price"]) == (
        "1 L bottle",
        1,
        "660",
        "19.50",
    )
    assert [one["id"] for one in at_bench.get("parts/", search="tarn").json()["results"]] == [oil.pk]
    assert at_bench.get("parts/", search="grease").json()["count"] == 0


def test_a_delivery_is_added_in_whole_containers(at_desk, oil):
    path, bottle = f"parts/{oil.pk}/receive/", oil.containers.get().pk
    told = at_desk.post(path, {"amount": "3 L", "container": bottle, "reason": "note 1207"})
    assert told.status_code == 201
    assert told.json()["amount"]["figures"] == "3000"
    assert at_desk.get(f"parts/{oil.pk}/").json()["on_hand"]["figures"] == "5000"
    answer = at_desk.post(path, {"amount": "1.5 L", "container": bottle})
    assert "Give a whole number of them" in refused(answer, 400, field="amount")
    stranger = make.make_container(make.make_part(measure=KitMeasure.MASS), 400_000)
    answer = at_desk.post(path, {"amount": "1 L", "container": stranger.pk})
    assert "is not a container of" in refused(answer, 400, field="container")


@pytest.mark.parametrize(
    ("amount", "told"),
    [
        ("3", "a unit with the number"),
        ("3 pcs", "pcs measures count"),
        ("0 mL", "more than zero"),
        ("-1 L", "zero or more"),
        ("1e30 L", "at most 10000000 mL"),
        ("0.0000001 µL", "more than zero"),
        (3, "as text with their unit"),
    ],
)
def test_what_cannot_be_received_is_refused_with_what_can(at_desk, oil, amount, told):
    before = Movement.objects.count()
    assert told in refused(at_desk.post(f"parts/{oil.pk}/receive/", {"amount": amount}), 400, field="amount")
    assert Movement.objects.count() == before


def test_half_a_piece_is_refused_and_so_is_a_click(at_desk):
    part = make.make_part()
    answer = at_desk.post(f"parts/{part.pk}/receive/", {"amount": "2 clicks"})
    assert "the number in pcs" in refused(answer, 400, field="amount")
    answer = at_desk.post(f"parts/{part.pk}/receive/", {"amount": "1.5 pcs"})
    assert "a whole number of pcs" in refused(answer, 400, field="amount")


class TestPickList:
    @pytest.fixture
    def family(self, db):
        return make_family()

    def row(self, caller, order, part):
        rows = caller.get(f"work-orders/{order['id']}/pick-list/").json()["rows"]
        return next(row for row in rows if row["part_number"] == part.number)

    def test_a_line_is_picked_and_put_back(self, at_desk, at_bench, technician, family):
        order = make_booked(at_desk, family)
        line = self.row(at_desk, order, family["kit"])["lines"][0]
        told = at_bench.made(f"pick-lines/{line['id']}/pick/")
        assert told["picked_by"] == {"id": technician.pk, "name": str(technician)}
        assert at_bench.made(f"pick-lines/{line['id']}/unpick/")["picked_at"] is None

    def test_what_is_short_says_what_to_buy_and_cannot_be_picked(self, at_desk, family):
        make_booked(at_desk, family)
        order = make_booked(at_desk, family)
        row = self.row(at_desk, order, family["oil"])
        # 2 × 4 × 335.5 mL wanted of 2 L
        assert row["short"]["figures"] == "684"
        assert row["buy"] == [{"container": "1 L bottle", "count": 1}]
        kit = self.row(at_desk, order, family["kit"])
        assert (kit["needed"]["figures"], kit["held"]["figures"], kit["short"]["figures"]) == ("4", "1", "3")
        short = next(line for line in kit["lines"] if line["held"]["figures"] == "0")
        answer = at_desk.post(f"pick-lines/{short['id']}/pick/")
        assert "is short" in refused(answer, 409, code="short")


class TestCount:
    def test_what_was_counted_corrects_the_book_once_per_key(self, at_desk, oil):
        path, bottle = f"parts/{oil.pk}/count/", oil.containers.get().pk
        body = {"found": "1660 mL", "container": bottle, "reason": "yearly count"}
        for _ in range(2):
            told = at_desk.post(path, body, key="count-1")
            assert told.status_code == 201
            assert told.json()["kind"] == "counted"
            assert told.json()["amount"]["si"] == pytest.approx(-0.00034)
        assert at_desk.get(f"parts/{oil.pk}/").json()["on_hand"]["figures"] == "1660"
        refused(at_desk.post(path, body, key="count-2"), 400, field="found", code="no_difference")

    @pytest.mark.parametrize(
        ("given", "field"),
        [
            ({"found": "3"}, "found"),
            ({"found": "-1 L"}, "found"),
            ({"found": "1e30 L"}, "found"),
            ({"reason": ""}, "reason"),
            ({"container": 4711}, "container"),
        ],
    )
    def test_nonsense_is_refused_and_nothing_is_written(self, at_desk, oil, given, field):
        before = Movement.objects.count()
        body = {"found": "1 L", "container": oil.containers.get().pk, "reason": "yearly count"} | given
        refused(at_desk.post(f"parts/{oil.pk}/count/", body), 400, field=field)
        assert Movement.objects.count() == before

    def test_what_is_held_is_not_counted_away(self, at_desk, oil):
        make.make_pick_list(oil, 1_500_000)
        body = {"found": "1 L", "container": oil.containers.get().pk, "reason": "yearly count"}
        message = refused(at_desk.post(f"parts/{oil.pk}/count/", body), 400, field="found", code="held")
        assert "1500 mL is held: 1500 mL for LG-1001, 1001-1" in message
