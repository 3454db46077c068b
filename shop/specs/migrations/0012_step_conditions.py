"""What a step needs and which dampers have it, in general: constructions and cap styles in the place of "needs an IFP"."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("dampers", "0003_cap_style"), ("specs", "0011_sent_back")]

    operations = [
        migrations.AddField(
            model_name="step",
            name="tool",
            field=models.CharField(
                "tools",
                blank=True,
                default="",
                help_text="In words, beside the one that a reading is taken with.",
                max_length=120,
            ),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="step",
            name="pressure",
            field=models.CharField(
                blank=True,
                choices=[
                    ("proven", "zero pressure is proven here"),
                    ("opened", "cap, ring or seal head is loosened here"),
                ],
                default="",
                help_text="What the order of the steps hangs on.",
                max_length=6,
            ),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="step",
            name="constructions",
            field=models.JSONField(blank=True, default=list, help_text="Left out for all others. Empty: for all."),
        ),
        migrations.AddField(
            model_name="step",
            name="cap_styles",
            field=models.JSONField(blank=True, default=list, help_text="Left out for all others. Empty: for all."),
        ),
        migrations.AlterField(
            model_name="step",
            name="text",
            field=models.TextField("what to do", blank=True, max_length=1000),
        ),
        migrations.AddConstraint(
            model_name="step",
            constraint=models.CheckConstraint(
                condition=models.Q(("reading", ""), ("as_left", False), _connector="OR"),
                name="step_one_entry",
                violation_error_message="A step records a figure or the settings as left. Make two steps of it.",
            ),
        ),
        migrations.AddConstraint(
            model_name="step",
            constraint=models.CheckConstraint(
                condition=models.Q(("pressure__in", ["", "proven", "opened"])), name="step_pressure_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="step",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("pressure", "proven"), _negated=True),
                    models.Q(("as_left", False), ("critical", True), ("reading", "")),
                    _connector="OR",
                ),
                name="step_proof_is_checked",
                violation_error_message=(
                    "A step that proves zero pressure is critical and records nothing: all that comes after it waits "
                    "until a second person has checked it."
                ),
            ),
        ),
        migrations.AddConstraint(
            model_name="step",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("cap_styles", []),
                    models.Q(("as_left", False), ("critical", False), ("reading", "")),
                    _connector="OR",
                ),
                name="step_of_a_cap_is_plain",
                violation_error_message=(
                    "A step for some caps only records nothing and has no second check: where nobody knows the cap "
                    "style, the technician may pass over it. Make two steps of it."
                ),
            ),
        ),
    ]
