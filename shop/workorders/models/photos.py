from django.db import models
from django.db.models import Q
from django.urls import reverse

from shop.staff.models import User
from shop.workorders.models.jobs import DamperJob
from shop.workorders.models.orders import WorkOrder


class Shows(models.TextChoices):
    """When a photo was taken, by what it is for."""

    FOUND = "found", "as found"
    FINDING = "finding", "a finding"
    LEFT = "left", "as left"


class PhotoQuerySet(models.QuerySet):
    def standing(self):
        """Without those that were struck out."""
        return self.filter(strike=None)

    def with_names(self):
        return self.select_related("order", "job__damper", "by", "strike__by")


class Photo(models.Model):
    """A photo of an order or of one of its dampers. Append-only; a wrong one is struck out by a row of its own."""

    order = models.ForeignKey(WorkOrder, models.PROTECT, related_name="photos")
    job = models.ForeignKey(
        DamperJob, models.PROTECT, null=True, blank=True, related_name="photos", help_text="Empty: the whole order."
    )
    moment = models.CharField(max_length=7, choices=Shows, default=Shows.FOUND)
    what = models.CharField(max_length=200, blank=True, help_text="What it shows.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the picture; the name of its file.")
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(name="photo_moment_known", condition=Q(moment__in=Shows.values)),
            models.CheckConstraint(name="photo_has_size", condition=Q(width__gt=0) & Q(height__gt=0)),
        ]

    def __str__(self):
        about = f"damper {self.job.tag}" if self.job_id else "the order"
        return f"photo of {about}, {self.get_moment_display()}"

    def get_absolute_url(self):
        return reverse("desk:photo", args=[self.order_id, self.pk])

    @property
    def path(self) -> str:
        """Where the picture lies in the storage."""
        return f"photos/{self.digest}.jpg"


class PhotoStrike(models.Model):
    """Says that a photo is wrong and why. Append-only; the photo stays in the book."""

    photo = models.OneToOneField(Photo, models.PROTECT, related_name="strike")
    why = models.CharField(max_length=300)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="photostrike_has_reason",
                condition=~Q(why=""),
                violation_error_message="Say why the photo is struck out.",
            ),
        ]

    def __str__(self):
        return f"{self.photo} struck out"


class Condition(models.Model):
    """In what state an order or a damper came in, and what came along. Append-only; the last one holds."""

    order = models.ForeignKey(WorkOrder, models.PROTECT, related_name="conditions")
    job = models.ForeignKey(
        DamperJob, models.PROTECT, null=True, blank=True, related_name="conditions", help_text="Empty: the whole."
    )
    words = models.CharField(max_length=500, blank=True, help_text="Leaks, damage, dirt.")
    came_along = models.CharField(max_length=300, blank=True, help_text="Spring, bump stops, mounting bolts.")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="condition_says_something",
                condition=~Q(words="") | ~Q(came_along=""),
                violation_error_message="Say in what condition it is, or what came along.",
            ),
        ]

    def __str__(self):
        return self.words or self.came_along
