"""The pages of import and export: what they offer, refuse and report, and to whom."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from shop.exchange.models import ImportRun, RunState
from shop.exchange.services import work
from shop.parts.models import Part
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.exchange.files import csv_file, read_csv, read_xlsx
from tests.factories import NOON
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
OVERVIEW = reverse("manage:exchange")
HEADER = ["Part number", "Name", "Measured in"]
GOOD = csv_file(HEADER, ["SK-1", "seal kit", "pieces"]).content


def table(kind="parts"):
    return reverse("manage:table", args=[kind])


def file(content=GOOD, name="parts.csv"):
    return SimpleUploadedFile(name, content)


def sent(client, content=GOOD, kind="parts"):
    """The page of a file that was sent, and its row as a worker left it."""
    answer = send(client, table(kind), file=file(content))
    run = ImportRun.objects.latest("pk")
    assert answer.url == run.get_absolute_url()
    return client.get(answer.url), work(pk=run.pk, at=NOON)


def test_a_file_is_sent_looked_at_and_brought_in(at_desk):
    waiting, run = sent(at_desk)
    assert "Waits for its turn." in words(waiting)
    page = at_desk.get(run.get_absolute_url())
    assert "Nothing is wrong with it. 1 new, 0 changed, 0 unchanged. Nothing is written yet." in words(page)
    send(at_desk, run.get_absolute_url(), action="bring-in", to=reverse("manage:import_bring_in", args=[run.pk]))
    work(pk=run.pk, at=NOON)
    assert "Brought in. 1 new, 0 changed, 0 unchanged." in words(at_desk.get(run.get_absolute_url()))
    assert "parts.csv Stock items" in words(at_desk.get(OVERVIEW))
    assert Part.objects.get().number == "SK-1"


def test_a_double_click_sends_one_file_and_another_file_under_the_same_key_is_refused(at_desk):
    page = form(at_desk.get(table()), "")
    answers = [at_desk.post(table(), page | {"file": file()}) for _ in range(2)]
    assert answers[0].url == answers[1].url
    assert ImportRun.objects.count() == 1
    other = at_desk.post(table(), page | {"file": file(GOOD + b"SK-2,oil,volume\n")})
    assert other.status_code == 409
    assert "choose it again" in words(other)


def test_the_report_names_line_column_value_and_what_is_wrong(at_desk):
    _, run = sent(at_desk, csv_file(HEADER, ["SK-1", "seal kit", "kilos"], ["", "<b>x</b>", "pieces"]).content)
    page = words(at_desk.get(run.get_absolute_url()))
    assert "Nothing was written. 2 things are wrong with this file." in page
    assert "2 Measured in kilos “kilos” is none of: pieces, volume, mass." in page
    assert "3 Part number – Nothing stands here, and every stock item needs it." in page
    assert "Bring it in" not in page


@pytest.mark.parametrize(
    ("content", "sentence"),
    [(b"", "This file is empty."), (b"%PDF-1.7", "not a print of it"), (None, "No file is chosen.")],
    ids=["empty", "print", "none"],
)
def test_what_is_no_table_is_refused_at_the_field(at_desk, content, sentence):
    answer = send(at_desk, table(), **({"file": file(content)} if content is not None else {}))
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert not ImportRun.objects.exists()


def test_more_than_ten_megabytes_are_refused_by_the_field_and_much_more_before_anything_reads_them(at_desk):
    answer = send(at_desk, table(), file=file(b"x" * 10_000_001))
    assert answer.status_code == 422
    assert "more than 10 MB" in words(answer)
    assert send(at_desk, table(), file=file(b"x" * 10_200_000)).status_code == 413


def test_a_file_can_be_put_away(at_desk, desk):
    _, run = sent(at_desk)
    send(at_desk, run.get_absolute_url(), action="put-away", to=reverse("manage:import_put_away", args=[run.pk]))
    assert f"Nothing was written. Put away by {desk}." in words(at_desk.get(run.get_absolute_url()))
    again = at_desk.post(reverse("manage:import_bring_in", args=[run.pk]))
    assert again.status_code == 409
    assert "so it cannot be brought in. Send the file anew." in words(again)


def test_the_state_of_a_file_is_told_to_a_script(at_desk):
    _, run = sent(at_desk)
    told = at_desk.get(reverse("manage:import_state", args=[run.pk]))
    assert told.json() == {"state": RunState.CHECKED, "words": "", "done": 0, "rows": 0}
    assert told["Cache-Control"] == "no-store"


def test_the_desk_sees_no_spec_sheets_neither_tables_nor_files(at_desk, as_manager):
    assert "Spec sheets" not in words(at_desk.get(OVERVIEW))
    assert "Spec sheets" in words(as_manager.get(OVERVIEW))
    run = make.make_import_run(kind="sheets", file_name="secret.csv")
    assert "secret.csv" not in words(at_desk.get(OVERVIEW))
    assert at_desk.get(run.get_absolute_url()).status_code == 404
    assert as_manager.get(run.get_absolute_url()).status_code == 200
    for address in (table("sheets"), reverse("manage:table_all", args=["kit-lines", "csv"])):
        answer = at_desk.get(address)
        assert answer.status_code == 403
        assert "are kept by a manager" in words(answer)


def test_all_of_a_table_goes_out_in_both_formats_and_the_trail_tells_who_took_it(at_desk, desk):
    make.make_customer(name="Ines Calloway", phone="+1 555-0142")
    answer = at_desk.get(reverse("manage:table_all", args=["customers", "csv"]))
    assert answer["Content-Disposition"] == 'attachment; filename="customers-2026-11-25.csv"'
    ((row),) = read_csv(b"".join(answer.streaming_content))
    assert (row["Name"], row["Phone"]) == ("Ines Calloway", "'+1 555-0142")
    answer = at_desk.get(reverse("manage:table_all", args=["customers", "xlsx"]))
    assert read_xlsx(b"".join(answer.streaming_content))[1][:3] == ["Ines Calloway", "ines@example.com", "+1 555-0142"]
    entries = AuditEntry.objects.filter(kind="export", key="customers").order_by("pk")
    assert [(one.who, one.what) for one in entries] == [
        (str(desk), "taken out: Customers, as CSV"), (str(desk), "taken out: Customers, as XLSX"),
    ]  # fmt: skip
    assert at_desk.get(reverse("manage:table_all", args=["customers", "pdf"])).status_code == 404
    assert at_desk.get(reverse("manage:table_all", args=["orders", "csv"])).status_code == 404


def test_the_page_of_a_table_explains_its_columns_and_gives_an_empty_one(as_manager):
    page = words(as_manager.get(table("sheets")))
    assert "Nitrogen charge, lowest Still in tolerance, with its unit; empty: as the tolerance says. 95 psi" in page
    assert "service manual for the exact unit prevails" in page
    answer = as_manager.get(reverse("manage:table_empty", args=["sheets", "csv"]))
    ((row),) = read_csv(b"".join(answer.streaming_content))
    assert row["Nitrogen charge"] == "100 psi"


def test_the_list_of_files_takes_as_many_queries_for_fifty_as_for_five(at_desk, django_assert_num_queries):
    for _ in range(5):
        make.make_import_run()
    at_desk.get(OVERVIEW)
    with django_assert_num_queries(4):
        at_desk.get(OVERVIEW)
    for _ in range(55):
        make.make_import_run()
    with django_assert_num_queries(4):
        assert "1 to 50 of 60" in words(at_desk.get(OVERVIEW))
