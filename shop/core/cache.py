"""Counts of log-in tries in Redis: they make a log-in slower to guess, so the log-in works without them."""

import json
import logging

from django.core.cache.backends.base import DEFAULT_TIMEOUT
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

log = logging.getLogger(__name__)


class PlainSerializer:
    """JSON, as in the queue: what somebody puts into Redis can be figures and text, never code."""

    dumps = staticmethod(json.dumps)
    loads = staticmethod(json.loads)


class ForgivingCache(RedisCache):
    """Redis as a cache that may be down: then nothing is found and nothing kept, and a warning says so.

    Only get, set and delete are meant to be used. clear would empty all of Redis, the queue with it.
    """

    def get(self, key, default=None, version=None):
        try:
            return super().get(key, default, version)
        except (RedisError, OSError, ValueError) as error:
            return self._without(error, default)

    def set(self, key, value, timeout=DEFAULT_TIMEOUT, version=None):
        try:
            super().set(key, value, timeout, version)
        except (RedisError, OSError) as error:
            self._without(error, None)

    def delete(self, key, version=None):
        try:
            return super().delete(key, version)
        except (RedisError, OSError) as error:
            return self._without(error, False)

    def clear(self):
        raise NotImplementedError("Emptying Redis would take the queue along; delete single keys.")

    def _without(self, error, answer):
        log.warning("Redis does not answer, so tries to log in are not counted: %s", type(error).__name__)
        return answer
