"""Parts that only an inspection may add, and parts that may stand in for another one of the same list."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import F, Q


class Migration(migrations.Migration):
    dependencies = [("specs", "0018_rebuild_version_2")]

    operations = [
        migrations.AddField(
            "kitline",
            "optional",
            models.BooleanField(default=False, help_text="Taken only when the inspection asks for it."),
        ),
        migrations.AddField(
            "kitline",
            "stands_in_for",
            models.ForeignKey(
                blank=True,
                help_text="The line in whose place this part may be taken.",
                null=True,
                on_delete=django.db.models.deletion.CASCADE,
                related_name="alternates",
                to="specs.kitline",
            ),
        ),
        migrations.AddField(
            "kitline",
            "rank",
            models.PositiveSmallIntegerField(
                default=0, help_text="Of several alternates of a line, the lower one is offered first; 0: it is none."
            ),
        ),
        migrations.AddConstraint(
            "kitline",
            models.CheckConstraint(
                name="kitline_not_its_own_alternate",
                condition=Q(stands_in_for=None) | ~Q(stands_in_for=F("id")),
                violation_error_message="A part cannot stand in for itself.",
            ),
        ),
        migrations.AddConstraint(
            "kitline",
            models.CheckConstraint(
                name="kitline_rank_of_alternates",
                condition=Q(stands_in_for=None, rank=0) | Q(stands_in_for__isnull=False, rank__gt=0),
                violation_error_message="An alternate has a rank from 1 up; another line has none.",
            ),
        ),
        migrations.AddConstraint(
            "kitline",
            models.CheckConstraint(
                name="kitline_optional_or_alternate",
                condition=Q(stands_in_for=None) | Q(optional=False),
                violation_error_message="An alternate is optional when the line is for which it stands in: mark that line instead.",
            ),
        ),
    ]
