from datetime import date

from django.db import models
from django.db.models import F, Q

from shop.calc.intervals import day_in_words
from shop.dampers.measures import Measure


class ToolKind(models.TextChoices):
    TORQUE_WRENCH = "torque_wrench", "torque wrench"
    GAUGE = "gauge", "charging gauge"
    DEPTH_TOOL = "depth_tool", "depth tool"


TOOL_FOR = {
    Measure.SHAFT_NUT_TORQUE: ToolKind.TORQUE_WRENCH,
    Measure.CHARGE: ToolKind.GAUGE,
    Measure.IFP_DEPTH: ToolKind.DEPTH_TOOL,
}


class Tool(models.Model):
    """A measuring tool under calibration."""

    code = models.CharField(max_length=20, unique=True)
    kind = models.CharField(max_length=13, choices=ToolKind)
    low_si = models.FloatField()
    high_si = models.FloatField()
    calibrated_on = models.DateField()
    calibration_due_on = models.DateField()
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["kind", "code"]
        constraints = [
            models.CheckConstraint(name="tool_kind_known", condition=Q(kind__in=ToolKind.values)),
            models.CheckConstraint(name="tool_range_in_order", condition=Q(low_si__gte=0) & Q(high_si__gt=F("low_si"))),
            models.CheckConstraint(
                name="tool_due_after_calibration", condition=Q(calibration_due_on__gt=F("calibrated_on"))
            ),
        ]

    def __str__(self):
        return self.code

    def why_not(self, on: date) -> str:
        """Why the tool cannot be used on a day, in a sentence; empty when it can, also on the day it falls due."""
        if not self.in_use:
            return f"{self} is out of use. Take another {self.get_kind_display()}."
        if on > self.calibration_due_on:
            since = day_in_words(self.calibration_due_on)
            return f"{self} is out of calibration since {since}. Take another {self.get_kind_display()}."
        return ""
