"""A step for some caps only may be passed over where nobody knows what cap the damper has."""

from django.db import migrations, models

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("specs", "0012_step_conditions"), ("workorders", "0004_bench_temperature")]

    operations = [
        migrations.RemoveConstraint(model_name="stepdone", name="stepdone_once"),
        migrations.AddField(
            model_name="stepdone",
            name="applies",
            field=models.BooleanField(default=True, help_text="False: it does not apply, so it was passed over."),
        ),
        migrations.AddConstraint(
            model_name="stepdone",
            constraint=models.UniqueConstraint(fields=("job", "step", "round", "applies"), name="stepdone_once"),
        ),
        # SQLite has rebuilt the table and dropped its triggers.
        AppendOnly("workorders_stepdone"),
    ]
