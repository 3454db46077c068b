from django.db import migrations

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("parts", "0001_initial")]

    operations = [AppendOnly("parts_movement")]
