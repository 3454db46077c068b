"""On which days the minutes of an order are planned."""

from django.db import models
from django.db.models import Q

from shop.workorders.models.orders import WorkOrder


class BenchPlan(models.Model):
    """So many bench minutes of an order on a day."""

    order = models.ForeignKey(WorkOrder, models.PROTECT, related_name="bench_plan")
    on = models.DateField()
    minutes = models.PositiveIntegerField()

    class Meta:
        ordering = ["on", "order"]
        indexes = [models.Index(name="benchplan_of_day", fields=["on"])]  # the minutes booked on the coming days
        constraints = [
            models.UniqueConstraint(name="benchplan_day_once", fields=["order", "on"]),
            models.CheckConstraint(name="benchplan_of_something", condition=Q(minutes__gt=0)),
        ]

    def __str__(self):
        return f"{self.order} on {self.on}: {self.minutes} min"


class BenchBook(models.Model):
    """One row: whoever plans bench days locks it, so that of two who want the last hour one waits and is told."""

    class Meta:
        constraints = [models.CheckConstraint(name="benchbook_one_row", condition=Q(id=1))]

    def __str__(self):
        return "the book of bench days"
