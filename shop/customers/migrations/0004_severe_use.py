"""Whether a vehicle is used so hard that it comes for service sooner."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("customers", "0003_vehicle_model_version")]

    operations = [
        migrations.AddField(
            "vehicle",
            "severe_use",
            models.BooleanField(default=False, help_text="Mud, dunes, racing or hauling: service comes sooner."),
        )
    ]
