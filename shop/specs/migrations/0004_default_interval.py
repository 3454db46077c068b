"""1500 miles or 12 months, whichever comes first (common practice, no source): the default until the shop says else."""

from django.db import migrations

MILE_M = 1609.344


def add(apps, schema_editor):
    apps.get_model("specs", "ServiceInterval").objects.get_or_create(
        damper_model=None,
        vehicle_model=None,
        defaults={"months": 12, "distance_m": 1500 * MILE_M, "source": "common practice, no source"},
    )


class Migration(migrations.Migration):
    dependencies = [("specs", "0003_default_procedure")]

    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
