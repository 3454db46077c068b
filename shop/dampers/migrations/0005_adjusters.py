"""The adjusters of a damper model and how many clicks each has, so that a count beyond them is found out."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("dampers", "0004_body_bore")]

    operations = [
        migrations.CreateModel(
            name="Adjuster",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("compression", "compression"),
                            ("low_speed", "low-speed compression"),
                            ("high_speed", "high-speed compression"),
                            ("rebound", "rebound"),
                        ],
                        max_length=11,
                    ),
                ),
                (
                    "clicks",
                    models.PositiveSmallIntegerField(help_text="The highest count, out from fully closed."),
                ),
                (
                    "damper_model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="adjusters",
                        to="dampers.dampermodel",
                    ),
                ),
            ],
            options={
                "ordering": ["damper_model", "pk"],
                "constraints": [
                    models.UniqueConstraint(name="adjuster_once", fields=["damper_model", "kind"]),
                    models.CheckConstraint(
                        name="adjuster_kind_known",
                        condition=Q(kind__in=["compression", "low_speed", "high_speed", "rebound"]),
                    ),
                    models.CheckConstraint(
                        name="adjuster_clicks_plausible",
                        condition=Q(clicks__gte=1) & Q(clicks__lte=99),
                        violation_error_message="An adjuster has 1 to 99 clicks. Count them again.",
                    ),
                ],
            },
        ),
    ]
