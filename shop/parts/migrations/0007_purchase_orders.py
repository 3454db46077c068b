"""Purchase orders, and what came of them."""

import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [
        ("parts", "0006_suppliers"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="PurchaseOrder",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("draft", "draft"),
                            ("sent", "sent"),
                            ("in_part", "received in part"),
                            ("closed", "closed"),
                            ("called_off", "called off"),
                        ],
                        default="draft",
                        max_length=10,
                    ),
                ),
                ("currency", models.CharField(max_length=3)),
                ("note", models.CharField(blank=True, help_text="Printed on the order.", max_length=300)),
                ("made_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(blank=True, null=True)),
                (
                    "sent_how",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("email", "by e-mail"),
                            ("phone", "by telephone"),
                            ("site", "on their site"),
                            ("counter", "at their counter"),
                        ],
                        max_length=8,
                    ),
                ),
                ("expected_on", models.DateField(blank=True, null=True)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                ("ended_why", models.CharField(blank=True, help_text="Why the rest was called off.", max_length=300)),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "sent_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "supplier",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="orders", to="parts.supplier"
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
            },
        ),
        migrations.CreateModel(
            name="PurchaseLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("units", models.PositiveIntegerField(help_text="Pieces or containers.")),
                (
                    "price",
                    models.DecimalField(
                        blank=True,
                        decimal_places=4,
                        help_text="Of one; empty: nobody knows it yet.",
                        max_digits=11,
                        null=True,
                    ),
                ),
                (
                    "expected_on",
                    models.DateField(blank=True, help_text="Empty: with the rest of the order.", null=True),
                ),
                ("called_off", models.PositiveIntegerField(default=0, help_text="Units that will not come any more.")),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="parts.supplieritem"
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="purchase_lines", to="parts.part"
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="parts.purchaseorder"
                    ),
                ),
            ],
            options={
                "ordering": ["order", "pk"],
            },
        ),
        migrations.CreateModel(
            name="Receipt",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("delivery_note", models.CharField(max_length=60)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="receipts", to="parts.purchaseorder"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="ReceiptLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("units", models.IntegerField(help_text="Pieces or containers.")),
                (
                    "price",
                    models.DecimalField(
                        blank=True, decimal_places=4, help_text="What was paid for one.", max_digits=11, null=True
                    ),
                ),
                (
                    "why",
                    models.CharField(
                        blank=True,
                        help_text="Why more was kept than was ordered, or less came than was written.",
                        max_length=200,
                    ),
                ),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="parts.receiptline",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipt_lines",
                        to="parts.purchaseline",
                    ),
                ),
                (
                    "movement",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="receipt_line", to="parts.movement"
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="parts.receipt"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.AddIndex(
            model_name="purchaseorder",
            index=models.Index(fields=["status", "-id"], name="purchaseorder_by_state"),
        ),
        migrations.AddConstraint(
            model_name="purchaseorder",
            constraint=models.CheckConstraint(
                condition=models.Q(("status__in", ["draft", "sent", "in_part", "closed", "called_off"])),
                name="purchaseorder_status_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="purchaseorder",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("status__in", ["draft", "called_off"]),
                    models.Q(
                        ("expected_on__isnull", False),
                        ("sent_at__isnull", False),
                        ("sent_by__isnull", False),
                        models.Q(("sent_how", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="purchaseorder_sent_says_how",
                violation_error_message="Say how the order was sent, and when the delivery is expected.",
            ),
        ),
        migrations.AddConstraint(
            model_name="purchaseorder",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("status", "called_off"), _negated=True),
                    models.Q(("ended_why", ""), _negated=True),
                    _connector="OR",
                ),
                name="purchaseorder_called_off_with_reason",
                violation_error_message="Say why the order is called off.",
            ),
        ),
        migrations.AddConstraint(
            model_name="purchaseorder",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("status__in", ["closed", "called_off"]), _negated=True),
                    ("ended_at__isnull", False),
                    _connector="OR",
                ),
                name="purchaseorder_ended_at_some_time",
            ),
        ),
        migrations.AddConstraint(
            model_name="purchaseline",
            constraint=models.UniqueConstraint(fields=("order", "item"), name="purchaseline_item_once"),
        ),
        migrations.AddConstraint(
            model_name="purchaseline",
            constraint=models.CheckConstraint(
                condition=models.Q(("units__gt", 0), ("units__lte", 100000)), name="purchaseline_of_something"
            ),
        ),
        migrations.AddConstraint(
            model_name="purchaseline",
            constraint=models.CheckConstraint(
                condition=models.Q(("price", None), ("price__gte", 0), _connector="OR"),
                name="purchaseline_price_not_negative",
            ),
        ),
        migrations.AddConstraint(
            model_name="purchaseline",
            constraint=models.CheckConstraint(
                condition=models.Q(("called_off__lte", models.F("units"))), name="purchaseline_calls_off_no_more"
            ),
        ),
        migrations.AddConstraint(
            model_name="receipt",
            constraint=models.UniqueConstraint(
                models.F("order"),
                django.db.models.functions.text.Lower("delivery_note"),
                name="receipt_note_once",
                violation_error_message="This delivery note has been entered for this order already.",
            ),
        ),
        migrations.AddConstraint(
            model_name="receipt",
            constraint=models.CheckConstraint(
                condition=models.Q(("delivery_note", ""), _negated=True), name="receipt_note_given"
            ),
        ),
        migrations.AddConstraint(
            model_name="receiptline",
            constraint=models.UniqueConstraint(
                condition=models.Q(("corrects", None)), fields=("receipt", "line"), name="receiptline_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="receiptline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("corrects", None), ("units__gt", 0)),
                    models.Q(("corrects__isnull", False), ("units__lt", 0), models.Q(("why", ""), _negated=True)),
                    _connector="OR",
                ),
                name="receiptline_sign_fits",
            ),
        ),
        migrations.AddConstraint(
            model_name="receiptline",
            constraint=models.CheckConstraint(
                condition=models.Q(("price", None), ("price__gte", 0), _connector="OR"),
                name="receiptline_price_not_negative",
            ),
        ),
        AppendOnly("parts_receipt"),
        AppendOnly("parts_receiptline"),
    ]
