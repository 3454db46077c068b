"""How often somebody may try to log in from one address, whatever the names; the lock-out per name comes on top."""

from rest_framework.throttling import SimpleRateThrottle

from shop.core.addresses import client_address


class LogInThrottle(SimpleRateThrottle):
    """One count for the page and the API. A whole shop may sit behind one address, so the rate leaves it room."""

    scope = "log_in"

    def get_cache_key(self, request, view):
        return self.cache_format % {"scope": self.scope, "ident": client_address(request)}
