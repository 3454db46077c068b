"""The ledger and stock takes through the API: the same functions, sentences and keys as the pages."""

import pytest

from shop.parts.selectors import stock_of
from shop.parts.services import receive
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import make_family, make_on_bench
from tests.factories import NOON


@pytest.fixture
def oil(db):
    oil = make.make_part("TARN-5", name="Tarn No. 5", measure="volume")
    make.make_container(oil, 1_000_000, name="1 L bottle")
    return oil


def on_hand(part):
    return stock_of([part])[part.pk].on_hand


def test_a_lot_comes_is_told_and_is_written_off_by_a_manager(at_desk, as_manager, oil):
    bottle = oil.containers.get().pk
    given = {"amount": "2 L", "container": bottle, "lot_code": "A7731", "use_by": "2099-03-01"}
    made = at_desk.made(f"parts/{oil.pk}/receive/", given)
    (lot,) = at_desk.get(f"parts/{oil.pk}/").json()["lots"]
    assert (lot["full"], lot["use_by"], lot["lot"]["name"]) == (2, "2099-03-01", "lot A7731, use by 1 March 2099")
    off = {"amount": "1 L", "container": bottle, "lot": made["lot"]["id"], "reason": "cloudy"}
    refused(at_desk.post(f"parts/{oil.pk}/write-off/", off), 403)
    refused(as_manager.post(f"parts/{oil.pk}/write-off/", off), 400, field="drum")
    drum = make.make_drum()
    made = as_manager.made(f"parts/{oil.pk}/write-off/", off | {"drum": drum.pk})
    log = at_desk.get("used-oil/", period="year", on=made["at"][:10]).json()
    (line,) = log["drums"][0]["lines"]
    assert (line["entry"]["id"], line["entry"]["movement"]) == (made["oil_entry"], made["id"])
    assert on_hand(oil) == 1_000_000


def test_movements_are_listed_with_what_was_on_hand_and_a_wrong_one_is_corrected_once_per_key(at_desk, desk):
    kit = make.make_part()
    wrong = receive(part=kit, amount=30, by=desk, at=NOON)
    body = {"right": "3 pcs", "reason": "a zero too many"}
    for _ in range(2):
        answer = at_desk.post(f"movements/{wrong.pk}/correct/", body, key="one-slip")
        assert (answer.status_code, answer.json()["corrects"]) == (201, wrong.pk)
    rows = at_desk.get(f"parts/{kit.pk}/movements/").json()["results"]
    assert [(row["kind"], row["on_hand"]["figures"]) for row in rows] == [("corrected", "3"), ("received", "30")]
    assert at_desk.get(f"parts/{kit.pk}/movements/", before=rows[0]["id"]).json()["count"] == 1
    refused(at_desk.get(f"parts/{kit.pk}/movements/", kind="lost"), 400, field="kind")


def test_a_blind_stock_take_hides_what_the_book_has_until_it_is_posted(at_desk, at_bench):
    kit = make.make_part(on_hand=5)
    take = at_desk.made("stock-takes/", {"parts": [kit.pk], "blind": True})
    assert (take["places"], take["counted"], take["open"]) == (1, 0, True)
    refused(at_desk.post("stock-takes/", {"parts": [kit.pk]}), 409)
    path = f"stock-takes/{take['id']}/"
    (row,) = at_bench.get(f"{path}rows/").json()["results"]
    assert (row["expected"], row["found"]) == (None, None)
    body = {"figures": [{"row": row["id"], "found": "4 pcs"}]}
    assert at_bench.post(f"{path}counts/", body).json()["counted"] == 1
    (row,) = at_bench.get(f"{path}rows/").json()["results"]
    assert (row["found"]["figures"], row["difference"]) == ("4", None)
    other = {"figures": [{"row": row["id"], "found": "3 pcs"}]}
    refused(at_desk.post(f"{path}counts/", other), 409)
    refused(at_desk.post(f"{path}finish/", {}), 400, field="reason")
    reasons = [{"row": row["id"], "reason": "one was torn"}]
    assert at_desk.post(f"{path}finish/", {"reasons": reasons}).json()["open"] is False
    (row,) = at_bench.get(f"{path}rows/").json()["results"]
    assert (row["expected"]["figures"], row["difference"]["figures"]) == ("5", "-1")
    assert on_hand(kit) == 4


def test_what_was_picked_is_told_against_what_was_used_and_goes_back_at_once(at_desk, at_bench):
    family = make_family()
    order = make_on_bench(at_desk, family)
    path = f"work-orders/{order['id']}/"
    lines = [line for row in at_bench.get(f"{path}pick-list/").json()["rows"] for line in row["lines"]]
    kit = next(line for line in lines if line["part_number"] == family["kit"].number)
    assert at_bench.post(f"pick-lines/{kit['id']}/pick/").json()["issued"]["figures"] == "1"
    assert on_hand(family["kit"]) == 4
    assert "took it at" in refused(at_desk.post(f"pick-lines/{kit['id']}/pick/"), 409)
    told = {one["line"]: one for one in at_bench.get(f"{path}used-against-picked/").json()["lines"]}
    assert (told[kit["id"]]["in_words"], told[kit["id"]]["used"]) == ("1 picked", None)
    assert at_bench.post(f"{path}put-all-back/").status_code == 200
    assert on_hand(family["kit"]) == 5
    told = {one["line"]: one for one in at_bench.get(f"{path}used-against-picked/").json()["lines"]}
    assert told[kit["id"]]["in_words"] == "1 picked, 1 put back"
