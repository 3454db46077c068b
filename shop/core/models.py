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


class SearchEntry(models.Model):
    """What one customer, vehicle, damper or order is found by. Only triggers write it, see shop/core/search/index.py.

    Words are folded as shop/core/search/words.py does, with two spaces around each.
    """

    kind = models.CharField(max_length=10)
    key = models.BigIntegerField(help_text="Primary key of the row that is found.")
    customer = models.BigIntegerField(help_text="Primary key of its owner.")
    past = models.BooleanField(help_text="Sold, called off, merged into another: comes last.")
    own = models.TextField(help_text="Its own names and numbers.")
    text = models.TextField(help_text="Those, and the names and numbers of its owner and of what it sits on.")

    class Meta:
        constraints = [models.UniqueConstraint(name="searchentry_once", fields=["kind", "key"])]
        verbose_name_plural = "search entries"

    def __str__(self):
        return f"{self.kind} {self.key}"


class SearchWord(models.Model):
    """A word that an entry says or once said: among them is looked for what a slip of the finger meant."""

    word = models.CharField(max_length=43, db_index=True, help_text="With two spaces before it and one behind.")

    def __str__(self):
        return self.word.strip()
