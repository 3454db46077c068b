"""What needed an IFP holds for the constructions that have one; and the default procedure says where gas is let out."""

from django.db import migrations

WITH_IFP = ["reservoir", "internal"]


def carry_over(apps, schema_editor):
    Step = apps.get_model("specs", "Step")
    Step.objects.filter(needs_ifp=True).update(constructions=WITH_IFP)
    shipped = Step.objects.filter(procedure__name="Rebuild", procedure__version=1)
    shipped.filter(title="Vent the nitrogen and prove zero pressure", critical=True, reading="").update(
        pressure="proven"
    )
    shipped.filter(title="Open, drain, lay out").update(pressure="opened")


def carry_back(apps, schema_editor):
    apps.get_model("specs", "Step").objects.filter(constructions=WITH_IFP).update(needs_ifp=True)


class Migration(migrations.Migration):
    dependencies = [("specs", "0012_step_conditions")]

    operations = [migrations.RunPython(carry_over, carry_back)]
