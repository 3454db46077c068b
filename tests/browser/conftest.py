"""A real browser before the real site: Debian's Chromium, and what went wrong in it."""

import os
import shutil

import pytest
from playwright.sync_api import expect, sync_playwright

from tests.factories import PASSWORD

UPRIGHT = {"width": 820, "height": 1180}
LYING = {"width": 1180, "height": 820}
PATIENCE = 20_000  # milliseconds, on a busy machine
# Chromium writes a line for every answer above 399; a refusal is no fault of the page.
A_REFUSAL = "Failed to load resource: the server responded with a status of 4"
WATCH = "addEventListener('securitypolicyviolation', (e) => console.error('CSP', e.violatedDirective, e.blockedURI))"


@pytest.fixture(scope="session")
def chromium():
    # Playwright's own loop runs in this thread; Django would take the tests' plain queries for asynchronous ones.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    expect.set_options(timeout=PATIENCE)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium") or "/usr/bin/chromium",
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture
def open_browser(chromium, live_server):
    """open_browser(user, **options of the context) -> page, logged in. Ends in failure if a page complained."""
    contexts, complaints = [], []

    def start(user=None, **options):
        context = chromium.new_context(
            **{"base_url": live_server.url, "viewport": UPRIGHT, "has_touch": True} | options
        )
        context.set_default_timeout(PATIENCE)
        context.add_init_script(WATCH)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda line: complaints.append(line.text) if line.type == "error" else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        if user:
            log_in(page, user)
        return page

    yield start
    for context in contexts:
        context.close()
    assert [one for one in complaints if not one.startswith(A_REFUSAL)] == []


def log_in(page, user, password=PASSWORD):
    page.goto("/log-in/")
    page.get_by_label("User name").fill(user.username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(lambda url: "/log-in/" not in url)
