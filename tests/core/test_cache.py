"""Counts of tries to log in: kept in a real Redis, and not missed when it is down."""

import uuid

import pytest
from django.conf import settings as ours
from django.core.cache import caches
from django.test import Client
from django.urls import reverse
from django.utils.module_loading import import_string
from rest_framework.throttling import SimpleRateThrottle

from tests.factories import PASSWORD
from tests.servers import free_port


def redis_cache(url):
    options = {"serializer": "shop.core.cache.PlainSerializer", "socket_connect_timeout": 1, "socket_timeout": 1}
    return {
        "default": {
            "BACKEND": "shop.core.cache.ForgivingCache",
            "LOCATION": url,
            "KEY_PREFIX": f"test-{uuid.uuid4()}",
            "OPTIONS": options,
        }
    }


@pytest.fixture
def redis_down(settings, monkeypatch):
    settings.CACHES = redis_cache(f"redis://127.0.0.1:{free_port()}/0")
    monkeypatch.setattr(SimpleRateThrottle, "cache", caches["default"])


def test_what_is_kept_in_redis_is_found_and_forgotten(settings):
    settings.CACHES = redis_cache(ours.REDIS_URL)
    cache = caches["default"]
    assert cache.get("tries", []) == []
    cache.set("tries", [1.5, 2.5], 30)
    assert cache.get("tries") == [1.5, 2.5]
    assert cache.delete("tries") is True
    assert cache.get("tries") is None


def test_the_cache_never_empties_a_redis_that_holds_the_queue(settings):
    with pytest.raises(NotImplementedError):
        import_string("shop.core.cache.ForgivingCache")("redis://127.0.0.1", {}).clear()


def test_with_redis_down_a_log_in_works_on_the_page_and_in_the_api(redis_down, desk, caplog):
    tried = {"username": desk.username, "password": PASSWORD}
    assert Client().post(reverse("log_in"), tried).status_code == 302
    assert Client().post("/api/v1/token/", tried, content_type="application/json").status_code == 200
    assert "Redis does not answer, so tries to log in are not counted" in caplog.text
    wrong = Client().post(reverse("log_in"), tried | {"password": "guess"})
    assert wrong.status_code == 200
