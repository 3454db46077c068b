from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("dampers", "0002_geometry")]

    operations = [
        migrations.AddField(
            model_name="dampermodel",
            name="cap_style",
            field=models.CharField(
                blank=True,
                choices=[("threaded", "threaded"), ("ring", "held by a ring"), ("clip", "held by a clip")],
                default="",
                help_text="Empty: not known.",
                max_length=8,
            ),
            preserve_default=False,
        ),
    ]
