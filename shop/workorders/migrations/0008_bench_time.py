"""On which days the minutes of an order are planned, and the minutes that were frozen into it."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("workorders", "0006_sheet_taken_later"),
    ]

    operations = [
        migrations.AddField(
            model_name="workorder",
            name="bench_minutes",
            field=models.PositiveIntegerField(
                blank=True,
                help_text="Frozen at booking from the labour times; empty: the shop had no bench hours.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="workorder",
            name="bench_minutes_why",
            field=models.CharField(
                blank=True, help_text="Why somebody set the bench minutes by hand.", max_length=300, null=True
            ),
        ),
        migrations.AddField(
            model_name="workorder",
            name="bench_over_why",
            field=models.CharField(
                blank=True, help_text="Why it was booked although its days were full.", max_length=300, null=True
            ),
        ),
        migrations.AddField(
            model_name="workorder",
            name="version",
            field=models.PositiveIntegerField(db_default=1, editable=False),
        ),
        migrations.CreateModel(
            name="BenchBook",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
            ],
            options={
                "constraints": [models.CheckConstraint(condition=models.Q(("id", 1)), name="benchbook_one_row")],
            },
        ),
        migrations.CreateModel(
            name="BenchPlan",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("on", models.DateField()),
                ("minutes", models.PositiveIntegerField()),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bench_plan",
                        to="workorders.workorder",
                    ),
                ),
            ],
            options={
                "ordering": ["on", "order"],
                "indexes": [models.Index(fields=["on"], name="benchplan_of_day")],
                "constraints": [
                    models.UniqueConstraint(fields=("order", "on"), name="benchplan_day_once"),
                    models.CheckConstraint(condition=models.Q(("minutes__gt", 0)), name="benchplan_of_something"),
                ],
            },
        ),
    ]
