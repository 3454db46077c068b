from rest_framework.permissions import SAFE_METHODS, BasePermission

from shop.staff.abilities import ABILITIES
from shop.staff.models import Role


def Allows(read, *, write=None):
    """Permission class that asks the same abilities as the pages: Allows("look", write="keep_customers").

    The first ability is for reading, write for whatever changes something; with only the first it is for both.
    """
    abilities = {"read": read, "write": write or read}
    assert set(abilities.values()) <= set(ABILITIES), f"no such ability in {abilities}"

    class AllowsAbility(BasePermission):
        def has_permission(self, request, view):
            if not request.user.is_authenticated:
                return False
            ability = abilities["read" if request.method in SAFE_METHODS else "write"]
            if request.user.may(ability):
                return True
            self.message = _refusal(ability, request.user)
            return False

    return AllowsAbility


def _refusal(ability, user):
    roles = ", ".join(Role(role).label.lower() for role in Role.values if role in ABILITIES[ability])
    mine = f"as {Role(user.role).label.lower()}" if user.role in Role.values else "without a role"
    return f"This is for: {roles}. You are logged in as {user}, {mine}."
