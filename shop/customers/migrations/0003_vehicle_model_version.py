"""Two managers who correct one vehicle model do not overwrite each other."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("customers", "0002_append_only")]

    operations = [
        migrations.AddField("vehiclemodel", "version", models.PositiveIntegerField(default=1)),
    ]
