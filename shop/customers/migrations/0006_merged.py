"""A customer who was entered twice is merged into the one who stays."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("customers", "0004_severe_use")]

    operations = [
        migrations.AddField(
            "customer",
            "merged_into",
            models.ForeignKey(
                blank=True,
                help_text="Who stays in its place.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="merged",
                to="customers.customer",
            ),
        ),
    ]
