"""A manager may hold an open job against the present sheet: a row of its own, so that nothing of before is rewritten."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [
        ("workorders", "0005_steps_passed_over"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="SpecChange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("round", models.PositiveSmallIntegerField(help_text="The job's round from which it holds.")),
                ("spec", models.JSONField(help_text="The sheet as it was at that moment.")),
                ("why", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="spec_changes",
                        to="workorders.damperjob",
                    ),
                ),
            ],
            options={"ordering": ["pk"]},
        ),
        migrations.AddConstraint(
            model_name="specchange",
            constraint=models.CheckConstraint(
                condition=models.Q(("why", ""), _negated=True),
                name="specchange_has_reason",
                violation_error_message="Say why the damper is held against another sheet now.",
            ),
        ),
        AppendOnly("workorders_specchange"),
    ]
