"""What of a service interval is left for a vehicle in severe use."""

from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("specs", "0019_optional_and_alternate_parts")]

    operations = [
        migrations.AddField(
            "serviceinterval",
            "severe_factor",
            models.FloatField(
                default=1.0, help_text="What of the interval is left in severe use: 0.5 is service twice as often."
            ),
        ),
        migrations.AddConstraint(
            "serviceinterval",
            models.CheckConstraint(
                name="serviceinterval_severe_factor",
                condition=Q(severe_factor__gt=0) & Q(severe_factor__lte=1),
                violation_error_message="The factor for severe use is more than 0 and at most 1.",
            ),
        ),
    ]
