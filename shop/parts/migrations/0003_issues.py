import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import Sum

from shop.core.triggers import AppendOnly


def note_issued(apps, schema_editor):
    """What left the shelf for a reservation in older books, as its movements say."""
    Reservation, Movement = apps.get_model("parts", "Reservation"), apps.get_model("parts", "Movement")
    moved = Movement.objects.filter(reservation__isnull=False).order_by().values_list("reservation")
    for pk, amount in moved.annotate(Sum("amount")).iterator():
        Reservation.objects.filter(pk=pk).update(issued=max(-amount, 0))


class Migration(migrations.Migration):
    dependencies = [
        ("parts", "0002_append_only"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="movement",
            name="movement_sign_fits",
        ),
        migrations.RemoveConstraint(
            model_name="reservation",
            name="reservation_state_known",
        ),
        migrations.AddField(
            model_name="movement",
            name="corrects",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="corrections",
                to="parts.movement",
            ),
        ),
        migrations.AddField(
            model_name="reservation",
            name="issued",
            field=models.PositiveBigIntegerField(
                db_default=0,
                default=0,
                help_text="Base units taken from the shelf for it and not put back: the sum of its movements, below zero.",
            ),
        ),
        migrations.AlterField(
            model_name="movement",
            name="kind",
            field=models.CharField(
                choices=[
                    ("received", "received"),
                    ("issued", "taken from the shelf for a job"),
                    ("returned", "put back on the shelf"),
                    ("used", "used on a job, straight from the shelf"),
                    ("counted", "difference found when counting"),
                    ("wasted", "written off"),
                    ("apart", "kept apart in a lot of its own"),
                    ("corrected", "correction of a wrong entry"),
                ],
                max_length=9,
            ),
        ),
        migrations.AlterField(
            model_name="reservation",
            name="amount",
            field=models.PositiveBigIntegerField(help_text="Base units held, or that were held last."),
        ),
        migrations.AlterField(
            model_name="reservation",
            name="state",
            field=models.CharField(
                choices=[
                    ("held", "held"),
                    ("issued", "taken from the shelf"),
                    ("used", "used"),
                    ("released", "released"),
                ],
                default="held",
                max_length=8,
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(fields=["part", "id"], name="movement_of_part"),
        ),
        migrations.AddConstraint(
            model_name="movement",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind__in", ["received", "returned"]), ("amount__gt", 0)),
                    models.Q(("kind__in", ["issued", "used", "wasted"]), ("amount__lt", 0)),
                    ("kind__in", ["counted", "apart", "corrected"]),
                    _connector="OR",
                ),
                name="movement_sign_fits",
            ),
        ),
        migrations.AddConstraint(
            model_name="movement",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind__in", ["counted", "wasted", "corrected"]), _negated=True),
                    models.Q(("reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="movement_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="movement",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("corrects__isnull", False), ("kind", "corrected")),
                    models.Q(models.Q(("kind", "corrected"), _negated=True), ("corrects", None)),
                    _connector="OR",
                ),
                name="movement_correction_names_the_wrong_one",
            ),
        ),
        migrations.AddConstraint(
            model_name="reservation",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ["held", "issued", "used", "released"])),
                name="reservation_state_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="reservation",
            constraint=models.CheckConstraint(
                condition=models.Q(models.Q(("state", "issued"), _negated=True), ("issued__gt", 0), _connector="OR"),
                name="reservation_issued_is_something",
            ),
        ),
        migrations.RunPython(note_issued, migrations.RunPython.noop),
        AppendOnly("parts_movement"),  # SQLite rebuilt the table
    ]
