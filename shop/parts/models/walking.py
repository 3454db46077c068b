from django.db import models
from django.db.models import Q


class WalkStop(models.Model):
    """One stretch of shelves, by how its bins begin, and its place on the way that one walks through the stock room."""

    prefix = models.CharField(
        max_length=20, unique=True, help_text="How its bins begin: “B”, or “B-1” for a part of B."
    )
    place = models.PositiveSmallIntegerField(help_text="Counts from 1 along the way.")

    class Meta:
        ordering = ["place", "prefix"]
        constraints = [models.CheckConstraint(name="walkstop_prefix_given", condition=~Q(prefix=""))]

    def __str__(self):
        return self.prefix
