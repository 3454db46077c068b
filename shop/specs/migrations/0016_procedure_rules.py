"""One draft of a procedure at a time; what is current was made so; a step is in a version once."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("specs", "0015_versions_so_far")]

    operations = [
        migrations.AddConstraint(
            model_name="procedure",
            constraint=models.UniqueConstraint(
                condition=models.Q(("made_current_at", None)),
                fields=("name",),
                name="procedure_one_draft",
                violation_error_message="There is a draft of this procedure already. Change that one.",
            ),
        ),
        migrations.AddConstraint(
            model_name="procedure",
            constraint=models.CheckConstraint(
                condition=models.Q(("current", False), ("made_current_at__isnull", False), _connector="OR"),
                name="procedure_current_since",
            ),
        ),
        migrations.AddConstraint(
            model_name="procedure",
            constraint=models.CheckConstraint(
                condition=models.Q(("name", ""), _negated=True),
                name="procedure_name_given",
                violation_error_message="Give the procedure a name, such as Rebuild.",
            ),
        ),
        migrations.AddConstraint(
            model_name="step",
            constraint=models.UniqueConstraint(fields=("procedure", "origin"), name="step_origin_once"),
        ),
    ]
