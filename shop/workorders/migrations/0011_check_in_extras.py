"""In what condition things came in, what came along, and who collected them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [
        ("workorders", "0010_photos"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="workorder",
            name="collected_by",
            field=models.CharField(
                blank=True, db_default="", default="", help_text="Who took it at hand-back.", max_length=120
            ),
        ),
        migrations.CreateModel(
            name="Condition",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("words", models.CharField(blank=True, help_text="Leaks, damage, dirt.", max_length=500)),
                (
                    "came_along",
                    models.CharField(blank=True, help_text="Spring, bump stops, mounting bolts.", max_length=300),
                ),
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
                        blank=True,
                        help_text="Empty: the whole.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="conditions",
                        to="workorders.damperjob",
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="conditions",
                        to="workorders.workorder",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("words", ""), _negated=True),
                            models.Q(("came_along", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="condition_says_something",
                        violation_error_message="Say in what condition it is, or what came along.",
                    )
                ],
            },
        ),
        AppendOnly("workorders_condition"),
    ]
