"""Reorder points that a manager set by hand."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("parts", "0007_purchase_orders"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="ReorderFix",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("point", models.PositiveBigIntegerField(help_text="Base units.")),
                (
                    "amount",
                    models.PositiveBigIntegerField(help_text="Base units to order at a time; 0: not ordered at all."),
                ),
                ("why", models.CharField(max_length=200)),
                ("set_at", models.DateTimeField()),
                (
                    "part",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE, related_name="reorder_fix", to="parts.part"
                    ),
                ),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("why", ""), _negated=True),
                        name="reorderfix_with_reason",
                        violation_error_message="Say why the reorder point is set by hand.",
                    )
                ],
            },
        ),
    ]
