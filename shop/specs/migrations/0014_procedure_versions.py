"""A procedure is drafted, made current and kept; its steps are known again from version to version."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("specs", "0013_ifp_is_a_condition"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RemoveField(model_name="step", name="needs_ifp"),
        migrations.AddField(
            model_name="step",
            name="origin",
            field=models.PositiveIntegerField(
                default=0, help_text="The same number in every version that has this step."
            ),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="step",
            name="edition",
            field=models.PositiveIntegerField(default=1, help_text="The draft's edition in which it was last changed."),
        ),
        migrations.AddField(
            model_name="procedure",
            name="edition",
            field=models.PositiveIntegerField(default=1, help_text="Goes up with every change of a draft."),
        ),
        migrations.AddField(
            model_name="procedure",
            name="copied_from",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="specs.procedure",
            ),
        ),
        migrations.AddField(
            model_name="procedure",
            name="drafted_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="procedure",
            name="drafted_at",
            field=models.DateTimeField(blank=True, help_text="Empty: it came with Damperbook.", null=True),
        ),
        migrations.AddField(
            model_name="procedure",
            name="made_current_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="procedure",
            name="made_current_at",
            field=models.DateTimeField(blank=True, help_text="The last time. Empty: a draft.", null=True),
        ),
        migrations.AddField(
            model_name="procedure",
            name="why",
            field=models.CharField(blank=True, default="", help_text="Why it was made current.", max_length=300),
            preserve_default=False,
        ),
    ]
