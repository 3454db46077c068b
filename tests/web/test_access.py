"""Who may open what: every page against every role, from the URL table itself, so that a new page is in it."""

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from shop.staff.abilities import ABILITIES
from shop.staff.models import Role
from tests import factories as make

# Open to everybody on purpose. The API has a table of its own.
PUBLIC = {"healthz", "readyz", "log_in", "log_out"}
PUBLIC_PREFIXES = ("r/", "api/")


def pages(patterns=None, prefix=""):
    for pattern in patterns if patterns is not None else get_resolver().url_patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from pages(pattern.url_patterns, route)
        elif isinstance(pattern, URLPattern):
            yield route, pattern


GUARDED = [
    (route, pattern)
    for route, pattern in pages()
    if pattern.name not in PUBLIC and not route.startswith(PUBLIC_PREFIXES)
]
WORDS = {"<int:pk>": "0", "<slug:digest>": "a", "<int:revision>": "1", "<int:number>": "1"}


def address(route):
    while "<" in route:
        start, end = route.index("<"), route.index(">") + 1
        route = route[:start] + WORDS.get(route[start:end], "0") + route[end:]
    return f"/{route}"


@pytest.mark.parametrize(("route", "pattern"), GUARDED, ids=[route for route, _ in GUARDED])
def test_a_page_says_who_may_open_it(route, pattern):
    assert getattr(pattern.callback, "ability", None) in ABILITIES


@pytest.mark.parametrize(("route", "pattern"), GUARDED, ids=[route for route, _ in GUARDED])
def test_a_page_sends_a_stranger_to_the_log_in_and_refuses_every_other_role(client, db, route, pattern):
    url = address(route)
    stranger = client.get(url)
    assert stranger.status_code == 302
    assert stranger.url.startswith("/log-in/")
    for role in Role.values:
        client.force_login(make.make_user(role))
        allowed = role in ABILITIES[pattern.callback.ability]
        for call in (client.get, client.post):
            status = call(url).status_code
            assert (status == 403) is not allowed or status == 405, f"{role}: {status}"
            assert status < 500
