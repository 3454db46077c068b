"""The bore in which the piston runs, for the oil that a damper holds."""

from django.db import migrations, models
from django.db.models import F, Q


class Migration(migrations.Migration):
    dependencies = [("dampers", "0003_cap_style")]

    operations = [
        migrations.AddField("dampermodel", "body_bore_m", models.FloatField(null=True, blank=True)),
        migrations.AddConstraint(
            "dampermodel",
            models.CheckConstraint(
                name="dampermodel_body_bore_m",
                condition=Q(body_bore_m=None) | (Q(body_bore_m__gte=0.005) & Q(body_bore_m__lte=0.2)),
                violation_error_message="Body bore: no damper has this. Check figures and unit.",
            ),
        ),
        migrations.AddConstraint(
            "dampermodel",
            models.CheckConstraint(
                name="dampermodel_shaft_within_body",
                condition=Q(shaft_m=None) | Q(body_bore_m=None) | Q(shaft_m__lt=F("body_bore_m")),
                violation_error_message="The shaft is as thick as the body's bore or thicker. Check both figures.",
            ),
        ),
    ]
