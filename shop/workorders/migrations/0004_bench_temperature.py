"""The bench temperature at check-in, with which the card says what charge to aim at."""

from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("workorders", "0003_rounds")]

    operations = [
        migrations.AddField(
            "workorder",
            "bench_temperature_k",
            models.FloatField(blank=True, help_text="At check-in, for the charge to aim at on the card.", null=True),
        ),
        migrations.AddConstraint(
            "workorder",
            models.CheckConstraint(
                condition=Q(bench_temperature_k=None)
                | (Q(bench_temperature_k__gte=233.15) & Q(bench_temperature_k__lte=333.15)),
                name="workorder_bench_temperature_plausible",
                violation_error_message="A bench is between −40 and 60 °C. Read the thermometer again.",
            ),
        ),
    ]
