"""Tables in and out for programs."""

import base64

import pytest

from shop.exchange.models import ImportRun
from shop.exchange.services import work
from shop.parts.models import Part
from tests import factories as make
from tests.api.conftest import refused
from tests.exchange.files import csv_file, read_csv, xlsx_file
from tests.factories import NOON

HEADER = ["Part number", "Name", "Measured in"]


def body(file):
    return {"name": file.name, "file": base64.b64encode(file.content).decode()}


@pytest.mark.parametrize("make_file", [csv_file, xlsx_file])
def test_a_program_sends_a_file_sees_what_came_of_it_and_has_it_brought_in(at_desk, make_file):
    run = at_desk.made("exchange/parts/", body(make_file(HEADER, ["SK-1", "seal kit", "pieces"])))
    assert (run["state"], run["kind"], run["done_rows"]) == ("waiting", "parts", None)
    address = f"exchange/files/{run['id']}/"
    refused(at_desk.post(f"{address}bring-in/"), 409, code="state")
    work(pk=run["id"], at=NOON)
    told = at_desk.get(address).json()
    assert (told["state"], told["rows"], told["new"], told["problems"]) == ("checked", 1, 1, [])
    assert at_desk.made(f"{address}bring-in/")["state"] == "due"
    work(pk=run["id"], at=NOON)
    assert at_desk.get(address).json()["state"] == "done"
    assert Part.objects.get().number == "SK-1"


def test_the_same_file_under_the_same_key_is_one_file(at_desk):
    given = body(csv_file(HEADER, ["SK-1", "seal kit", "pieces"]))
    first, second = (at_desk.made("exchange/parts/", given, key="nightly-1")["id"] for _ in range(2))
    assert first == second
    assert ImportRun.objects.count() == 1


def test_problems_come_with_line_column_value_and_sentence(at_desk):
    run = at_desk.made("exchange/parts/", body(csv_file(HEADER, ["SK-1", "seal kit", "kilos"])))
    work(pk=run["id"], at=NOON)
    told = at_desk.get(f"exchange/files/{run['id']}/").json()
    assert (told["state"], told["problem_count"]) == ("refused", 1)
    assert told["problems"] == [
        {
            "line": 2, "column": "Measured in", "value": "kilos",
            "sentence": "“kilos” is none of: pieces, volume, mass.",
        }
    ]  # fmt: skip


@pytest.mark.parametrize("file", [None, 5, "no base64!", "é", "QQ"])
def test_a_file_that_is_no_base64_is_refused(at_desk, file):
    refused(at_desk.post("exchange/parts/", {"name": "x.csv", "file": file}), 400, field="file")


def test_a_file_may_be_longer_than_any_other_body(at_desk):
    rows = [[f"SK-{n}", "s" * 100, "pieces"] for n in range(20_000)]
    assert at_desk.made("exchange/parts/", body(csv_file(HEADER, *rows)))["state"] == "waiting"


def test_a_table_goes_out_as_csv(at_desk):
    make.make_part("SK-1", name="=1+1")
    answer = at_desk.get("exchange/parts/")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    ((row),) = read_csv(b"".join(answer.streaming_content))
    assert (row["Part number"], row["Name"]) == ("SK-1", "'=1+1")


def test_the_tables_and_files_are_those_of_the_role(at_desk, as_manager):
    assert [one["name"] for one in at_desk.get("exchange/").json()] == ["parts", "customers", "vehicles"]
    sheets = as_manager.get("exchange/").json()[0]
    assert sheets["name"] == "sheets"
    assert {
        "header": "Sheet code",
        "help": "The shop's own name for it.",
        "example": "H2-A",
        "required": True,
    } in sheets["columns"]
    run = make.make_import_run(kind="sheets")
    assert at_desk.get("exchange/files/").json()["count"] == 0
    assert as_manager.get("exchange/files/").json()["results"][0]["id"] == run.pk
    refused(at_desk.get(f"exchange/files/{run.pk}/"), 404)
