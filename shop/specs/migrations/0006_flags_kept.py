"""Why a sheet was verified although the gas of its figures was flagged."""

from importlib import import_module

from django.db import migrations, models

repeat_triggers = import_module("shop.specs.migrations.0005_reference_conditions").repeat_triggers


class Migration(migrations.Migration):
    dependencies = [("specs", "0005_reference_conditions")]

    operations = [
        migrations.AddField(
            "specsheet",
            "flag_reason",
            models.CharField(blank=True, help_text="Why it was verified although its gas was flagged.", max_length=300),
        ),
        migrations.RunPython(repeat_triggers, repeat_triggers),
    ]
