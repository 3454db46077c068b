import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [
        ("parts", "0004_lots"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="StockTake",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("title", models.CharField(help_text="What is counted, in words.", max_length=120)),
                (
                    "blind",
                    models.BooleanField(default=False, help_text="Who counts does not see what the book expects."),
                ),
                ("started_at", models.DateTimeField()),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
                ("given_up", models.BooleanField(default=False, help_text="Ended without correcting the book.")),
                (
                    "finished_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "started_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
            },
        ),
        migrations.CreateModel(
            name="StockTakeRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("expected", models.BigIntegerField(help_text="What the book had at the start.")),
                ("reason", models.CharField(blank=True, help_text="Why there is a difference.", max_length=150)),
                (
                    "container",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.container",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.lot",
                    ),
                ),
                (
                    "movement",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="take_row",
                        to="parts.movement",
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="parts.part"),
                ),
                (
                    "take",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="rows", to="parts.stocktake"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="TakenPart",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("open", models.BooleanField(default=True)),
                (
                    "part",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="parts.part"),
                ),
                (
                    "take",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="taken_parts", to="parts.stocktake"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Tally",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("found", models.PositiveBigIntegerField()),
                (
                    "in_book",
                    models.BigIntegerField(
                        help_text="What the book had when it was entered, movements since the start counted."
                    ),
                ),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "row",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="tallies", to="parts.stocktakerow"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.AddConstraint(
            model_name="stocktake",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("finished_at", None), ("finished_by", None), ("given_up", False)),
                    models.Q(("finished_at__isnull", False), ("finished_by__isnull", False)),
                    _connector="OR",
                ),
                name="stocktake_finished_by_somebody",
            ),
        ),
        migrations.AddConstraint(
            model_name="takenpart",
            constraint=models.UniqueConstraint(
                condition=models.Q(("open", True)), fields=("part",), name="takenpart_in_one_open_take"
            ),
        ),
        migrations.AddConstraint(
            model_name="takenpart",
            constraint=models.UniqueConstraint(fields=("take", "part"), name="takenpart_once"),
        ),
        AppendOnly("parts_tally"),
    ]
