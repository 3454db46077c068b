"""How long a rebuild takes at the benches."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("dampers", "0006_reservoir_depth"),
        ("specs", "0020_severe_use"),
    ]

    operations = [
        migrations.CreateModel(
            name="LabourTime",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("minutes", models.PositiveSmallIntegerField(help_text="For one damper.")),
                (
                    "order_minutes",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        help_text="Once for each order: wash, tags, paper. Only of the shop's default.",
                        null=True,
                    ),
                ),
                (
                    "damper_model",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="labour_times",
                        to="dampers.dampermodel",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("damper_model__isnull", False)),
                        fields=("damper_model",),
                        name="labourtime_of_damper_once",
                    ),
                    models.UniqueConstraint(
                        models.Value(1),
                        condition=models.Q(("damper_model__isnull", True)),
                        name="labourtime_by_default_once",
                        violation_error_message="There is a default labour time already: change that one.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("minutes__gte", 1),
                            ("minutes__lte", 2400),
                            models.Q(("order_minutes", None), ("order_minutes__lte", 2400), _connector="OR"),
                        ),
                        name="labourtime_within_reason",
                        violation_error_message="A damper takes from 1 minute to 40 hours.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("damper_model", None), ("order_minutes__isnull", False)),
                            models.Q(("damper_model__isnull", False), ("order_minutes", None)),
                            _connector="OR",
                        ),
                        name="labourtime_order_only_by_default",
                    ),
                ],
            },
        ),
    ]
