"""What an inspection may add to a list and somebody took up, and the parts that may be taken in place of another."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [
        ("picklists", "0002_from_draft"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            "picklist",
            "offers",
            models.JSONField(
                blank=True, default=list, help_text="What an inspection may add, as it was when the list was filled."
            ),
        ),
        migrations.AddField(
            "pickline",
            "kept_chain",
            models.JSONField(
                blank=True,
                default=list,
                help_text="The part asked for and its alternates, by rank. Empty: it has none.",
            ),
        ),
        migrations.AddField(
            "pickline",
            "taken_up_at",
            models.DateTimeField(
                blank=True,
                help_text="Taken up for this bag by hand: it stays when the list is filled anew.",
                null=True,
            ),
        ),
        migrations.AddField(
            "pickline",
            "taken_up_by",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddConstraint(
            "pickline",
            models.CheckConstraint(
                name="pickline_taken_up_by_somebody",
                condition=Q(taken_up_at=None, taken_up_by=None)
                | Q(taken_up_at__isnull=False, taken_up_by__isnull=False),
            ),
        ),
    ]
