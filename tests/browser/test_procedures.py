"""A procedure is changed with the keyboard alone, and its pages are in nobody's way."""

import re

import pytest
from django.urls import reverse

from shop.specs.models import Procedure
from shop.specs.selectors import current_procedure
from tests import factories as make
from tests.browser.conftest import UPRIGHT
from tests.browser.test_desk import WIDE, problems_on

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def press(page, role, name):
    """Go to a link or a button and press Enter, as somebody does who has no mouse."""
    there = page.get_by_role(role, name=name, exact=True)
    there.focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")


def titles(procedure):
    return [step.title for step in procedure.steps.all()]


def test_a_next_version_is_drafted_changed_and_made_current_without_scripts_and_with_the_keyboard_alone(
    open_browser, manager
):
    page = open_browser(manager, viewport=WIDE, java_script_enabled=False)
    before = titles(current_procedure())
    page.goto(reverse("manage:procedures"))
    press(page, "link", "Version 2")
    press(page, "button", "Draft the next version")
    draft = Procedure.objects.get(version=3)
    press(page, "link", "New step")
    page.get_by_label("Place").focus()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("6")
    for label, text in [("Stage", "Strip"), ("Title", "Weigh the parts"), ("Tools, in words", "scale")]:
        page.get_by_label(label).focus()
        page.keyboard.type(text)
    with page.expect_navigation():
        page.keyboard.press("Enter")  # from a field, as forms are sent
    page.get_by_text("Step 6. Weigh the parts is added.").wait_for()
    press(page, "button", re.compile("^Up ?: 6. Weigh the parts$"))
    page.get_by_text("“Weigh the parts” is step 5 now.").wait_for()
    assert titles(draft) == [*before[:4], "Weigh the parts", *before[4:]]
    # The page goes on from the line that was moved: the next Tab is on it.
    page.keyboard.press("Tab")
    assert "5. Weigh the parts" in page.locator(":focus").inner_text()
    press(page, "link", "1. Identify, tag, wash, photograph")
    page.get_by_label("Tools, in words").focus()
    page.keyboard.press("End")
    page.keyboard.type(", lamp")
    press(page, "button", "Save")
    press(page, "button", re.compile("^Take out ?: 16. Compare, bag, lay ready$"))
    press(page, "button", "Take it out")
    press(page, "link", "Read it and make it current")
    page.get_by_label("Why the shop works by it from now on").focus()
    page.keyboard.type("parts were missed")
    page.get_by_label("I have read every step").focus()
    page.keyboard.press("Space")
    press(page, "button", "Make Rebuild version 3 current")
    page.get_by_text("jobs follow it from the next check-in on").wait_for()
    assert current_procedure() == draft
    assert titles(draft) == [*before[:4], "Weigh the parts", *before[4:-1]]
    assert draft.steps.get(number=1).tool == "tag, camera, lamp"


@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light"), (UPRIGHT, "dark")], ids=["wide", "narrow"])
def test_axe_finds_nothing_on_the_pages_of_procedures(open_browser, manager, viewport, scheme):
    make.put_in_force(make.make_draft(manager), manager)
    unfit = make.make_draft(manager, change=lambda steps: steps.filter(number=3).delete())
    first, step = Procedure.objects.get(version=1), unfit.steps.first()
    page = open_browser(manager, viewport=viewport, color_scheme=scheme)
    found = {}
    for address in [
        reverse("manage:procedures"), reverse("manage:procedure_new"), first.get_absolute_url(),
        current_procedure().get_absolute_url(), unfit.get_absolute_url(),
        reverse("manage:procedure_edit", args=[unfit.pk]), reverse("manage:procedure_step_new", args=[unfit.pk]),
        reverse("manage:procedure_step", args=[unfit.pk, step.pk]),
        reverse("manage:procedure_compare", args=[unfit.pk]) + f"?with={first.pk}",
    ]:  # fmt: skip
        page.goto(address)
        found |= problems_on(page)
    page.goto(reverse("manage:procedure_step_new", args=[unfit.pk]))
    page.get_by_role("button", name="Add the step").click()
    page.get_by_role("alert").wait_for()
    assert found | problems_on(page) == {}
