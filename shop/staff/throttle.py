"""How often somebody may try a password; the lock-out per name comes on top."""

from rest_framework.throttling import SimpleRateThrottle

from shop.core.addresses import client_address


class LogInThrottle(SimpleRateThrottle):
    """By address, whatever the names, one count for the page and the API.

    A whole shop may sit behind one address, so the rate leaves it room.
    """

    scope = "log_in"

    def get_cache_key(self, request, view):
        return self.cache_format % {"scope": self.scope, "ident": client_address(request)}


class OwnPasswordThrottle(SimpleRateThrottle):
    """Whoever sits down at a screen that was left open does not get to guess the password of who left it."""

    scope = "own_password"

    def get_cache_key(self, request, view):
        return self.cache_format % {"scope": self.scope, "ident": request.user.pk}
