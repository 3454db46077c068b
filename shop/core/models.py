from django.db import models
from django.db.models import Q


class RequestKey(models.Model):
    """A write that was done under a key its sender chose; the same key again gets the same answer and does nothing."""

    scope = models.CharField(
        max_length=80, help_text="Which function, for whom: the same key from two users is two requests."
    )
    key = models.CharField(max_length=64)
    fingerprint = models.CharField(
        max_length=64, help_text="SHA-256 of what was asked, to catch a key used for something else."
    )
    result = models.CharField(max_length=80, blank=True, help_text="Table and primary key of what was made.")
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(name="requestkey_once", fields=["scope", "key"]),
            models.CheckConstraint(name="requestkey_not_blank", condition=~Q(key="")),
        ]

    def __str__(self):
        return f"{self.scope} {self.key}"


class Heartbeat(models.Model):
    """When a part of the site that runs by itself was last alive; /readyz reads it."""

    name = models.CharField(max_length=40, primary_key=True)
    at = models.DateTimeField()

    def __str__(self):
        return f"{self.name} {self.at:%Y-%m-%d %H:%M:%S}"
