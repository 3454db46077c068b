"""Who can log in to the demo shop: known to everybody, so it listens on this machine only and is no production."""

from dataclasses import dataclass

from shop.staff.models import Role


@dataclass(frozen=True)
class LogIn:
    username: str
    password: str
    role: Role
    first_name: str
    last_name: str
    pin: str = ""


LOG_INS = [
    LogIn("desk", "desk-and-daybook", Role.DESK, "Dora", "Achterberg-Lune"),
    LogIn("bench", "bench-and-tablet", Role.TECHNICIAN, "Tobias", "Nkemelu-Strand", "2468"),
    LogIn("second", "second-and-check", Role.TECHNICIAN, "Rosa", "Odumbe-Hale", "1357"),
    LogIn("manager", "manager-and-specs", Role.MANAGER, "Mika", "Sorensdal-Quay", "8642"),
]
