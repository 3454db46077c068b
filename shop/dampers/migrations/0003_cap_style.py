"""How the cap over the IFP is held; and a version, so that two managers do not overwrite each other."""

from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("dampers", "0002_geometry")]

    operations = [
        migrations.AddField("dampermodel", "version", models.PositiveIntegerField(default=1)),
        migrations.AddField("fitment", "version", models.PositiveIntegerField(default=1)),
        migrations.AddField(
            "dampermodel",
            "cap_style",
            models.CharField(
                blank=True,
                choices=[
                    ("threaded", "threaded cap"),
                    ("ring", "cap under a snap ring"),
                    ("clip", "clip-in plug"),
                ],
                default="",
                help_text="Empty: not known.",
                max_length=8,
            ),
            preserve_default=False,
        ),
        migrations.AddConstraint(
            "dampermodel",
            models.CheckConstraint(
                name="dampermodel_cap_style_known",
                condition=Q(cap_style="") | Q(cap_style__in=["threaded", "ring", "clip"]),
            ),
        ),
        migrations.AddConstraint(
            "dampermodel",
            models.CheckConstraint(
                name="dampermodel_cap_over_ifp",
                condition=Q(cap_style="") | Q(construction__in=["reservoir", "internal"]),
                violation_error_message="A damper of this construction has no IFP, and so no cap over one.",
            ),
        ),
    ]
