from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    DESK = "desk", "Front desk"
    TECHNICIAN = "technician", "Technician"
    MANAGER = "manager", "Manager"


class User(AbstractUser):
    """Somebody who works in the shop. Customers never have an account."""

    role = models.CharField(max_length=10, choices=Role)
    bench_pin = models.CharField(
        max_length=128, blank=True, help_text="Hashed. Confirms a second check on a shared tablet."
    )
    bench_pin_misses = models.PositiveSmallIntegerField(default=0)
    bench_pin_locked_until = models.DateTimeField(null=True, blank=True)

    class Meta(AbstractUser.Meta):
        constraints = [models.CheckConstraint(name="user_role_known", condition=models.Q(role__in=Role.values))]

    def __str__(self):
        return self.get_full_name() or self.username

    def may(self, ability: str) -> bool:
        """Whether this person's role has the ability; shop/staff/abilities.py lists them."""
        from shop.staff.abilities import ABILITIES

        return self.is_active and self.role in ABILITIES[ability]


class AuditEntry(models.Model):
    """One line of what was done by whom. Plain columns, so that it outlives whatever it tells about."""

    at = models.DateTimeField()
    who = models.CharField(max_length=150)
    kind = models.CharField(max_length=40, help_text="What sort of thing: customer, sheet, order …")
    key = models.CharField(max_length=40, help_text="Which one: its number or primary key.")
    what = models.CharField(max_length=500)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(name="auditentry_of_thing", fields=["kind", "key"])]  # the history of one thing
        verbose_name_plural = "audit entries"

    def __str__(self):
        return f"{self.at:%Y-%m-%d %H:%M} {self.who}: {self.what}"
