from django.db import migrations

from shop.core.triggers import AppendOnly, WriteOnce


class Migration(migrations.Migration):
    dependencies = [("workorders", "0001_initial")]

    operations = [
        AppendOnly("workorders_reading"),
        AppendOnly("workorders_stepdone"),
        AppendOnly("workorders_secondcheck"),
        AppendOnly("workorders_cardrevision"),
        WriteOnce("workorders_damperjob", "spec"),
        WriteOnce("workorders_damperjob", "procedure_id"),
    ]
