"""How deep a reservoir is, so that a sheet with an IFP beyond its floor is asked about."""

from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("dampers", "0005_adjusters")]

    operations = [
        migrations.AddField("dampermodel", "reservoir_depth_m", models.FloatField(null=True, blank=True)),
        migrations.AddConstraint(
            "dampermodel",
            models.CheckConstraint(
                name="dampermodel_reservoir_depth_m",
                condition=Q(reservoir_depth_m=None) | (Q(reservoir_depth_m__gte=0.02) & Q(reservoir_depth_m__lte=0.5)),
                violation_error_message="Reservoir depth: no damper has this. Check figures and unit.",
            ),
        ),
    ]
