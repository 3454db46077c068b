"""A file in a real browser with a real worker: progress that is seen, and a tab that is closed meanwhile."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from shop.exchange.models import ImportRun, RunState
from shop.parts.models import Part
from tests.browser.conftest import log_in
from tests.exchange.files import csv_file
from tests.factories import make_damper_model
from tests.servers import wait_until

pytestmark = [pytest.mark.browser, pytest.mark.serial, pytest.mark.django_db(transaction=True)]
ROWS, EACH = 1000, 20


@pytest.fixture
def big_file(tmp_path):
    """Lines of parts lists, which go in one by one."""
    models = [make_damper_model() for _ in range(ROWS // EACH)]
    rows = [["Hallinde", model.name, f"SK-{n}", "ring", "1 pcs"] for model in models for n in range(EACH)]
    header = ["Damper maker", "Damper model", "Part number", "Name", "Amount for one damper"]
    path = tmp_path / "rings.csv"
    path.write_bytes(csv_file(header, *rows).content)
    return path


def send(page, path, kind):
    page.goto(reverse("manage:table", args=[kind]))
    page.get_by_label("File").set_input_files(path)
    page.get_by_role("button", name="Check this file").click()


def test_a_thousand_rows_show_their_progress_and_survive_a_closed_tab(open_browser, manager, big_file, start_worker):
    start_worker()
    page = open_browser(manager)
    send(page, big_file, "kit-lines")
    words = page.locator("[data-words]")
    expect(words).to_have_text(re.compile(rf"^[1-9]\d* of {ROWS} rows$"), timeout=60_000)
    address = page.url
    page.close()
    run = ImportRun.objects.get()
    wait_until(lambda: ImportRun.objects.filter(pk=run.pk, state=RunState.CHECKED).exists(), within=120)
    page = open_browser(manager)
    page.goto(address)
    expect(page.get_by_text(f"{ROWS} new, 0 changed, 0 unchanged.")).to_be_visible()
    page.get_by_role("button", name="Bring it in").click()
    # Nobody presses anything any more: the page itself sees the end.
    expect(page.get_by_text(f"Brought in. {ROWS} new")).to_be_visible(timeout=120_000)


def test_a_file_is_sent_and_brought_in_without_javascript(open_browser, manager, tmp_path, start_worker):
    start_worker()
    page = open_browser(java_script_enabled=False)
    log_in(page, manager)
    path = tmp_path / "parts.csv"
    path.write_bytes(csv_file(["Part number", "Name", "Measured in"], ["SK-1", "seal kit", "pieces"]).content)
    send(page, path, "parts")
    wait_until(lambda: ImportRun.objects.filter(state=RunState.CHECKED).exists())
    look_again = page.get_by_role("link", name="Look again")
    if look_again.count():
        look_again.click()
    page.get_by_role("button", name="Bring it in").click()
    wait_until(lambda: Part.objects.exists())


def test_what_was_taken_out_is_sent_back_and_nothing_changes(open_browser, manager, tmp_path, start_worker):
    start_worker()
    Part.objects.create(number="=SK-1", name="seal kit", measure="count")
    page = open_browser(manager)
    for kind in ("CSV", "XLSX"):
        page.goto(reverse("manage:exchange"))
        with page.expect_download() as download:
            page.get_by_role("link", name=f"{kind} of Stock items").click()
        path = tmp_path / download.value.suggested_filename
        download.value.save_as(path)
        send(page, path, "parts")
        expect(page.get_by_text("1 row is in the book already, exactly so.")).to_be_visible()
