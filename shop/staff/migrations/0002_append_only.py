from django.db import migrations

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("staff", "0001_initial")]

    operations = [AppendOnly("staff_auditentry")]
