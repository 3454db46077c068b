"""Suppliers, what they sell, and the prices that held when."""

import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

from shop.core.triggers import AppendOnly


class Migration(migrations.Migration):
    dependencies = [
        ("parts", "0005_stock_takes"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Supplier",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=80)),
                ("email", models.EmailField(blank=True, max_length=254)),
                ("phone", models.CharField(blank=True, max_length=40)),
                ("address", models.TextField(blank=True, max_length=300)),
                (
                    "account_number",
                    models.CharField(blank=True, help_text="The shop's number in their books.", max_length=40),
                ),
                (
                    "order_days",
                    models.CharField(
                        blank=True,
                        help_text="Weekdays on which they take orders, 0 is Monday; empty: any working day.",
                        max_length=7,
                    ),
                ),
                ("lead_days", models.PositiveSmallIntegerField(help_text="Working days from order to delivery.")),
                (
                    "lead_deviation_days",
                    models.PositiveSmallIntegerField(
                        default=0, help_text="Standard deviation of the lead time in working days; 0: it never differs."
                    ),
                ),
                ("note", models.TextField(blank=True, max_length=500)),
                ("in_use", models.BooleanField(default=True)),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.UniqueConstraint(
                        django.db.models.functions.text.Lower("name"),
                        name="supplier_name_once",
                        violation_error_message="A supplier of this name is in the book already. Open that one.",
                    ),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="supplier_name_given"),
                    models.CheckConstraint(
                        condition=models.Q(("lead_days__lte", 250), ("lead_deviation_days__lte", 250)),
                        name="supplier_lead_plausible",
                        violation_error_message="Give a lead time of at most 250 working days.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SupplierItem",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("their_number", models.CharField(blank=True, max_length=40)),
                (
                    "pack",
                    models.PositiveIntegerField(
                        default=1, help_text="They send whole packs of so many pieces or containers."
                    ),
                ),
                (
                    "minimum",
                    models.PositiveIntegerField(default=1, help_text="The fewest pieces or containers they send."),
                ),
                ("in_use", models.BooleanField(default=True)),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "container",
                    models.ForeignKey(
                        blank=True,
                        help_text="Empty: by the piece.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sold_as",
                        to="parts.container",
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sold_as", to="parts.part"
                    ),
                ),
                (
                    "supplier",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="items", to="parts.supplier"
                    ),
                ),
            ],
            options={
                "ordering": ["supplier", "part", "container"],
            },
        ),
        migrations.CreateModel(
            name="SupplierPrice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("price", models.DecimalField(decimal_places=4, max_digits=11)),
                ("currency", models.CharField(max_length=3)),
                ("from_day", models.DateField()),
                ("noted_at", models.DateTimeField()),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="prices", to="parts.supplieritem"
                    ),
                ),
                (
                    "noted_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ["item", "-from_day", "-pk"],
            },
        ),
        migrations.AddConstraint(
            model_name="supplieritem",
            constraint=models.UniqueConstraint(fields=("supplier", "part", "container"), name="supplieritem_size_once"),
        ),
        migrations.AddConstraint(
            model_name="supplieritem",
            constraint=models.UniqueConstraint(
                condition=models.Q(("container", None)), fields=("supplier", "part"), name="supplieritem_piece_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="supplieritem",
            constraint=models.CheckConstraint(
                condition=models.Q(("pack__gt", 0), ("pack__lte", 100000)), name="supplieritem_packs_of_something"
            ),
        ),
        migrations.AddConstraint(
            model_name="supplieritem",
            constraint=models.CheckConstraint(
                condition=models.Q(("minimum__gt", 0), ("minimum__lte", 100000)),
                name="supplieritem_minimum_of_something",
            ),
        ),
        migrations.AddIndex(
            model_name="supplierprice",
            index=models.Index(fields=["item", "-from_day", "-id"], name="supplierprice_held"),
        ),
        migrations.AddConstraint(
            model_name="supplierprice",
            constraint=models.CheckConstraint(condition=models.Q(("price__gte", 0)), name="supplierprice_not_negative"),
        ),
        AppendOnly("parts_supplierprice"),
    ]
