"""Every procedure there is has been current: until now there was no other way to have one."""

from django.db import migrations
from django.db.models import F
from django.utils import timezone


def give(apps, schema_editor):
    Procedure, Step = apps.get_model("specs", "Procedure"), apps.get_model("specs", "Step")
    Procedure.objects.filter(made_current_at=None).update(made_current_at=timezone.now(), why="came with Damperbook")
    Step.objects.filter(origin=0).update(origin=F("number"))


class Migration(migrations.Migration):
    dependencies = [("specs", "0014_procedure_versions")]

    operations = [migrations.RunPython(give, migrations.RunPython.noop)]
