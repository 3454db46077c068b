import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("parts", "0003_issues"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Lot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(blank=True, help_text="As the label has it.", max_length=40)),
                ("received_on", models.DateField()),
                ("use_by", models.DateField(blank=True, help_text="The last day on which it may be used.", null=True)),
                (
                    "opened_on",
                    models.DateField(blank=True, help_text="The day its opened container was opened.", null=True),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.RemoveIndex(
            model_name="movement",
            name="movement_on_hand",
        ),
        migrations.AddField(
            model_name="part",
            name="keeps_days",
            field=models.PositiveSmallIntegerField(
                blank=True,
                help_text="Days that it keeps once its container is opened; empty: no limit is known.",
                null=True,
            ),
        ),
        migrations.AddConstraint(
            model_name="part",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("keeps_days", None), models.Q(("keeps_days__gt", 0), ("keeps_days__lte", 3650)), _connector="OR"
                ),
                name="part_keeps_a_while",
            ),
        ),
        migrations.AddField(
            model_name="lot",
            name="container",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="lots",
                to="parts.container",
            ),
        ),
        migrations.AddField(
            model_name="lot",
            name="part",
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="lots", to="parts.part"),
        ),
        migrations.AddField(
            model_name="movement",
            name="lot",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="movements",
                to="parts.lot",
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(fields=["part", "container", "lot", "amount"], name="movement_on_hand"),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.CheckConstraint(
                condition=models.Q(("use_by", None), ("use_by__gte", models.F("received_on")), _connector="OR"),
                name="lot_good_when_received",
            ),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.CheckConstraint(
                condition=models.Q(("opened_on", None), ("opened_on__gte", models.F("received_on")), _connector="OR"),
                name="lot_opened_after_it_came",
            ),
        ),
    ]
