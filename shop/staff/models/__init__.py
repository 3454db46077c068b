"""People, what was done by whom, and the hours at the benches, a file per activity."""

from shop.staff.models.hours import Absence, BenchHours, ClosedDay, WorkingHours
from shop.staff.models.people import AuditEntry, Role, User

__all__ = ["Absence", "AuditEntry", "BenchHours", "ClosedDay", "Role", "User", "WorkingHours"]
