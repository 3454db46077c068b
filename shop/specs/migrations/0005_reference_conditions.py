"""A sheet says at which temperature and altitude its charge is meant."""

from importlib import import_module

from django.db import migrations, models
from django.db.models import Q

ONE_ANSWER = import_module("shop.specs.migrations.0002_one_answer")


def repeat_triggers(apps, schema_editor):
    """SQLite has dropped them with the old table."""
    if schema_editor.connection.vendor == "sqlite":
        for event in ("insert", "update"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS specsheet_one_answer_{event}")
        for statement in ONE_ANSWER.SQLITE:
            schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("specs", "0004_default_interval")]

    operations = [
        migrations.AddField(
            "specsheet",
            "reference_altitude_m",
            models.FloatField(default=0.0, verbose_name="altitude at which the charge is meant"),
        ),
        migrations.AddField(
            "specsheet",
            "reference_k",
            models.FloatField(default=293.15, verbose_name="temperature at which the charge is meant"),
        ),
        migrations.AddConstraint(
            "specsheet",
            models.CheckConstraint(
                condition=Q(reference_k__gte=233.15) & Q(reference_k__lte=333.15),
                name="specsheet_reference_temperature",
                violation_error_message="The temperature at which the charge is meant lies from −40 to 60 °C.",
            ),
        ),
        migrations.AddConstraint(
            "specsheet",
            models.CheckConstraint(
                condition=Q(reference_altitude_m__gte=-500.0) & Q(reference_altitude_m__lte=9000.0),
                name="specsheet_reference_altitude",
                violation_error_message="The altitude at which the charge is meant lies from −500 to 9000 m.",
            ),
        ),
        migrations.RunPython(repeat_triggers, repeat_triggers),
    ]
