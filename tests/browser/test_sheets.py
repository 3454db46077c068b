"""The spec table in a real browser: a table of drafts filled with the keyboard and from a spreadsheet."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.services import send_back
from tests import factories as make
from tests.browser.test_desk import WIDE, WIDER_THAN_THE_SCREEN, problems_on
from tests.factories import NOON

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TABLE = reverse("manage:sheets_table")


@pytest.fixture
def model(transactional_db):
    return make.make_damper_model(name="H2")


@pytest.fixture
def page(open_browser, manager, model):
    make.make_sheet(model, code="H2-A", status=SheetStatus.DRAFT, entered_by=manager)
    page = open_browser(manager, viewport=WIDE, permissions=["clipboard-read", "clipboard-write"])
    page.goto(TABLE)
    return page


def cell(page, row, column):
    return page.get_by_label(f"{row}, {column}", exact=True)


def paste(page, text):
    page.evaluate("(text) => navigator.clipboard.writeText(text)", text)
    page.keyboard.press("Control+V")


def test_a_row_is_typed_and_two_are_pasted_with_the_keyboard_alone_and_saved(page):
    cell(page, "New row 1", "damper").focus()
    for typed in ("Hallinde H2", "H2-K", "", "front", "2015", "2018", "22 lbf·ft", "± 5 %", "100 psi", "± 5"):
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    expect(cell(page, "New row 1", "IFP depth")).to_be_focused()
    for typed in ("", "", "", "", "H2 bench manual", "rev D", "p. 41"):
        page.keyboard.type(typed)
        page.keyboard.press("Tab")

    cell(page, "New row 1", "page").focus()
    page.keyboard.press("Enter")
    expect(cell(page, "New row 2", "page")).to_be_focused()
    page.keyboard.press("Shift+Enter")
    expect(cell(page, "New row 1", "page")).to_be_focused()
    page.keyboard.press("Alt+ArrowLeft")
    expect(cell(page, "New row 1", "revision or date")).to_be_focused()
    page.keyboard.press("Control+ArrowUp")
    expect(cell(page, "H2-A version 1", "revision or date")).to_be_focused()

    cell(page, "New row 2", "damper").focus()
    line = "\tHallinde H2\t{}\t\trear\t{}\t{}\t22 lbf·ft\t± 5 %\t100 psi\t± 5\t\t\t\t\tH2 bench manual\trev D\tp. 42"
    paste(page, "\r\n".join(line.format(*one)[1:] for one in (("H2-L", 2010, 2014), ("H2-M", 2015, 2018))) + "\r\n")
    expect(page.get_by_text("34 cells filled.")).to_be_visible()
    expect(cell(page, "New row 3", "page")).to_have_value("p. 42")

    page.get_by_label("Why").fill("copied from the bench manual")
    page.get_by_label("Why").press("Enter")
    page.get_by_text("3 rows saved:").wait_for()
    said = (
        SpecSheet.objects.exclude(code="H2-A").order_by("code").values_list("code", "position", "year_from", "year_to")
    )
    assert list(said) == [("H2-K", "front", 2015, 2018), ("H2-L", "rear", 2010, 2014), ("H2-M", "rear", 2015, 2018)]


def test_what_finds_no_cell_is_told_and_one_word_goes_where_the_cursor_stands(page):
    cell(page, "New row 5", "page").focus()
    paste(page, "p. 1\np. 2\np. 3\n")
    expect(page.get_by_text("1 cell filled. 2 values found no cell: ask for more empty rows")).to_be_visible()
    cell(page, "New row 5", "document").fill("manual ")
    cell(page, "New row 5", "document").press("End")
    paste(page, "of 2015")
    expect(cell(page, "New row 5", "document")).to_have_value("manual of 2015")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_refused_table_leads_to_its_cells_and_axe_finds_nothing(page, scheme):
    page.emulate_media(color_scheme=scheme)
    cell(page, "New row 1", "nitrogen charge").fill("tight")
    page.get_by_role("button", name="Save the table").click()
    page.get_by_role("alert").wait_for()
    assert problems_on(page) == {}
    page.get_by_role("link", name="New row 1, nitrogen charge", exact=True).click()
    expect(cell(page, "New row 1", "nitrogen charge")).to_be_focused()


def test_what_a_tolerance_allows_is_told_while_it_is_typed(page, model):
    page.goto(reverse("manage:sheet_new"))
    charge = page.get_by_role("group", name="Nitrogen charge")
    charge.get_by_role("textbox", name="Nitrogen charge").fill("100")
    charge.get_by_label("Tolerance as printed").fill("± 5")
    expect(charge.get_by_role("status")).to_have_text("Allowed: 95 to 105 psi")
    charge.get_by_label("Tolerance as printed").fill("5")
    expect(charge.get_by_role("status")).to_contain_text("“5” cannot be read")


def test_a_table_is_filled_without_scripts(open_browser, model, manager):
    make.make_sheet(model, code="H2-A", status=SheetStatus.DRAFT, entered_by=make.make_user())
    page = open_browser(viewport=WIDE, java_script_enabled=False)
    page.goto("/log-in/")
    page.get_by_label("User name").fill(manager.username)
    page.get_by_label("Password").fill(make.PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Spec table").click()
    page.get_by_role("link", name="Edit as a table").click()
    cell(page, "H2-A version 1", "nitrogen charge").fill("105 psi")
    page.get_by_label("Why").fill("page misread")
    page.keyboard.press("Enter")
    page.get_by_text("1 row saved:").wait_for()
    assert SpecSheet.objects.get().edition == 2


@pytest.mark.parametrize("width", [1280, 820, 390])
def test_no_page_of_the_spec_table_scrolls_sideways_for_a_long_word(open_browser, model, technician, manager, width):
    word = "x" * 200
    draft = make.make_sheet(
        model, code=word[:30], status=SheetStatus.DRAFT, source_document=word, source_page=word[:40], note=word,
        printed={"charge": {"tolerance": word[:40], "note": word}},
    )  # fmt: skip
    send_back(sheet=draft, edition=1, why=word, by=technician, at=NOON)
    page = open_browser(manager, viewport={"width": width, "height": 900})
    two = f"?sheet={draft.pk}&sheet={make.make_sheet(model).pk}"
    for name, *where in (
        ("sheets",), ("sheets_queue",), ("sheets_table",), ("sheet", draft.pk), ("sheet_change", draft.pk),
        ("sheet_verify", draft.pk), ("sheets_compare", two), ("sheets_copy", two),
    ):  # fmt: skip
        keys = [one for one in where if one != two]
        page.goto(reverse(f"manage:{name}", args=keys) + (two if two in where else ""))
        wide = page.evaluate(WIDER_THAN_THE_SCREEN)
        assert wide <= 0, f"{name} scrolls {wide} px sideways at {width} px"
