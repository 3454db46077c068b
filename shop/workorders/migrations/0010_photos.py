"""Photos of an order and its dampers; a wrong one is struck out by a row of its own."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [
        ("workorders", "0009_agreements"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Photo",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "moment",
                    models.CharField(
                        choices=[("found", "as found"), ("finding", "a finding"), ("left", "as left")],
                        default="found",
                        max_length=7,
                    ),
                ),
                ("what", models.CharField(blank=True, help_text="What it shows.", max_length=200)),
                ("digest", models.CharField(help_text="SHA-256 of the picture; the name of its file.", max_length=64)),
                ("width", models.PositiveIntegerField()),
                ("height", models.PositiveIntegerField()),
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
                        help_text="Empty: the whole order.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photos",
                        to="workorders.damperjob",
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="photos", to="workorders.workorder"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="PhotoStrike",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("why", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "photo",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="strike", to="workorders.photo"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.AddConstraint(
            model_name="photo",
            constraint=models.CheckConstraint(
                condition=models.Q(("moment__in", ["found", "finding", "left"])), name="photo_moment_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="photo",
            constraint=models.CheckConstraint(
                condition=models.Q(("width__gt", 0), ("height__gt", 0)), name="photo_has_size"
            ),
        ),
        migrations.AddConstraint(
            model_name="photostrike",
            constraint=models.CheckConstraint(
                condition=models.Q(("why", ""), _negated=True),
                name="photostrike_has_reason",
                violation_error_message="Say why the photo is struck out.",
            ),
        ),
        AppendOnly("workorders_photo"),
        AppendOnly("workorders_photostrike"),
    ]
