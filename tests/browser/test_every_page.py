"""Every page of the site as the demo shop shows it, found by following links, so that a new page is among them."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import Resolver404, resolve
from django.utils import timezone

from shop.demo import scenario
from shop.staff.models import User
from tests.browser.conftest import UPRIGHT
from tests.web.test_access import GUARDED

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WIDE = {"width": 1280, "height": 800}
SEEN_OF_A_KIND = 2  # pages of one address pattern: an order that is booked, and one on the benches
LINKS = """[...document.querySelectorAll('a[href]')].map((one) => new URL(one.href)).filter((one) =>
    one.origin === location.origin).map((one) => one.pathname + one.search)"""
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# Serious ones stop somebody; axe calls the rest moderate or minor.
STOPS = {"critical", "serious"}


def page_at(address):
    """The name of the page that an address leads to; None for papers, the API and the outside."""
    try:
        found = resolve(address.partition("?")[0])
    except Resolver404:
        return None
    return found.view_name if getattr(found.func, "ability", None) else None


@pytest.fixture
def demo(db):
    scenario.load(timezone.now())
    return User.objects.get(username="manager")


@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light"), (UPRIGHT, "dark")], ids=["wide", "narrow"])
def test_no_page_stops_anybody_and_none_is_wider_than_the_screen(open_browser, demo, viewport, scheme):
    page = open_browser(viewport=viewport, color_scheme=scheme)
    page.goto("/log-in/")
    page.get_by_label("User name").fill("manager")
    page.get_by_label("Password").fill("manager-and-specs")
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(lambda url: "/log-in/" not in url)
    waiting, seen, problems = ["/"], {}, {}
    while waiting:
        address = waiting.pop(0)
        name = page_at(address)
        if name is None or address in seen.get(name, ()) or len(seen.get(name, ())) >= SEEN_OF_A_KIND:
            continue
        seen.setdefault(name, set()).add(address)
        if ".pdf" in address or ".csv" in address:
            continue
        answer = page.request.get(address)
        if "text/html" not in answer.headers.get("content-type", "") or answer.status >= 400:
            assert answer.status < 400, f"{address} is linked and answers {answer.status}"
            continue
        page.goto(address)
        found = [
            f"{one['id']}: {one['nodes'][0]['html'][:200]}"
            for one in Axe().run(page).response["violations"]
            if one["impact"] in STOPS
        ]
        if (wide := page.evaluate(WIDER)) > 0:
            found.append(f"{wide} px wider than the screen")
        if found:
            problems[address] = found
        waiting += page.evaluate(LINKS)
    assert problems == {}
    assert len(seen) > len(GUARDED) / 2, sorted(seen)
