"""Sizes of a damper model that decide what its gas does along the stroke, each with the range a damper can have."""

from django.db import migrations, models
from django.db.models import F, Q

SIZES = [
    ("reservoir_bore_m", None, 0.005, 0.2, "Reservoir bore"),
    ("cap_intrusion_m", None, 0, 0.2, "Cap intrusion"),
    ("shaft_m", "shaft diameter", 0.003, 0.1, "Shaft diameter"),
    ("stroke_m", None, 0.005, 1, "Stroke"),
    ("highest_gas_pa", "highest gas pressure", 1e5, 50e6, "Highest gas pressure"),
    ("spring_rate_n_per_m", "spring rate at the damper", 1e3, 1e6, "Spring rate at the damper"),
]


class Migration(migrations.Migration):
    dependencies = [("dampers", "0001_initial")]

    operations = [
        *[
            migrations.AddField("dampermodel", name, models.FloatField(verbose_name, null=True, blank=True))
            for name, verbose_name, _, _, _ in SIZES
        ],
        *[
            migrations.AddConstraint(
                "dampermodel",
                models.CheckConstraint(
                    name=f"dampermodel_{name}",
                    condition=Q(**{name: None}) | (Q(**{f"{name}__gte": low}) & Q(**{f"{name}__lte": high})),
                    violation_error_message=f"{label}: no damper has this. Check figures and unit.",
                ),
            )
            for name, _, low, high, label in SIZES
        ],
        migrations.AddConstraint(
            "dampermodel",
            models.CheckConstraint(
                name="dampermodel_shaft_within_bore",
                condition=Q(shaft_m=None) | Q(reservoir_bore_m=None) | Q(shaft_m__lt=F("reservoir_bore_m")),
                violation_error_message="The shaft is as thick as the reservoir's bore or thicker. Check both figures.",
            ),
        ),
    ]
