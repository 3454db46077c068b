from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("picklists", "0003_taken_up_and_in_place"),
        ("parts", "0003_issues"),
    ]

    operations = [
        migrations.AddField(
            model_name="pickline",
            name="not_asked",
            field=models.BooleanField(
                db_default=False,
                default=False,
                help_text="Not asked for any more, but taken from the shelf already: it stays until it is put back.",
            ),
        ),
    ]
