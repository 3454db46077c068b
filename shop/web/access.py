from functools import wraps

from django.core.exceptions import PermissionDenied

from shop.staff.abilities import ABILITIES
from shop.staff.models import Role


def allow(ability):
    """Let in only people whose role has the ability. Every page carries this, or is open to the public on purpose."""
    roles = [Role(role).label.lower() for role in Role.values if role in ABILITIES[ability]]

    def decorate(view):
        @wraps(view)
        def guarded(request, *args, **kwargs):
            if not request.user.may(ability):
                raise PermissionDenied(f"This page is for: {', '.join(roles)}. You are logged in as {request.user}.")
            return view(request, *args, **kwargs)

        guarded.ability = ability
        return guarded

    return decorate


def takes_files(most_bytes):
    """Let the page's forms carry files: its bodies may be longer than those of other pages. Goes on the outside."""

    def decorate(view):
        view.takes_bytes = most_bytes
        return view

    return decorate
