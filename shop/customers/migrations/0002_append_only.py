from django.db import migrations

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("customers", "0001_initial")]

    operations = [AppendOnly("customers_meterreading")]
