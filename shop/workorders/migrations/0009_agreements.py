"""What was agreed with the customer, up to which price, and what is asked when work needs more."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from shop.core.triggers import AppendOnly, WriteOnce


class Migration(migrations.Migration):
    dependencies = [
        ("workorders", "0008_bench_time"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Question",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("what", models.CharField(help_text="What more is needed.", max_length=300)),
                ("why", models.CharField(max_length=500)),
                ("by_how_much", models.DecimalField(blank=True, decimal_places=2, max_digits=9, null=True)),
                (
                    "new_total",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        help_text="Agreed price and this together.",
                        max_digits=9,
                        null=True,
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("proposed", "waits for the front desk to ask"),
                            ("open", "waits for the customer's answer"),
                            ("agreed", "agreed"),
                            ("declined", "not agreed"),
                            ("withdrawn", "withdrawn"),
                        ],
                        max_length=9,
                    ),
                ),
                ("proposed_at", models.DateTimeField()),
                ("asked_at", models.DateTimeField(blank=True, null=True)),
                (
                    "link_until",
                    models.DateTimeField(blank=True, help_text="Until when the customer's link works.", null=True),
                ),
                (
                    "call_wanted_at",
                    models.DateTimeField(blank=True, help_text="The customer would rather be called.", null=True),
                ),
                (
                    "answered_name",
                    models.CharField(blank=True, help_text="Who answered for the customer.", max_length=120),
                ),
                (
                    "answered_how",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("desk", "at the desk"),
                            ("telephone", "by telephone"),
                            ("writing", "in writing"),
                            ("link", "through the link"),
                        ],
                        max_length=9,
                    ),
                ),
                ("answered_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_why", models.CharField(blank=True, max_length=300)),
                (
                    "after",
                    models.CharField(
                        blank=True,
                        choices=[("unfinished", "goes back unfinished"), ("without", "goes on without it")],
                        max_length=10,
                    ),
                ),
                ("after_at", models.DateTimeField(blank=True, null=True)),
                (
                    "after_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "answered_by",
                    models.ForeignKey(
                        blank=True,
                        help_text="Who noted it; empty: the link.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "asked_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        help_text="Empty: the whole order.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="questions",
                        to="workorders.damperjob",
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="questions", to="workorders.workorder"
                    ),
                ),
                (
                    "proposed_by",
                    models.ForeignKey(
                        help_text="Who raised it.",
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="Agreement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("what", models.CharField(max_length=500)),
                (
                    "up_to",
                    models.DecimalField(
                        blank=True,
                        decimal_places=2,
                        help_text="For the whole order. Empty: no limit was agreed, ask first.",
                        max_digits=9,
                        null=True,
                    ),
                ),
                ("agreed_by", models.CharField(help_text="Name of who agreed.", max_length=120)),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("desk", "at the desk"),
                            ("telephone", "by telephone"),
                            ("writing", "in writing"),
                            ("link", "through the link"),
                        ],
                        max_length=9,
                    ),
                ),
                (
                    "signed",
                    models.CharField(
                        blank=True,
                        choices=[("screen", "signed on the screen"), ("paper", "signed on paper")],
                        max_length=6,
                    ),
                ),
                (
                    "signature",
                    models.CharField(
                        blank=True, help_text="SHA-256 of the picture; the name of its file.", max_length=64
                    ),
                ),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        blank=True,
                        help_text="Who noted it; empty: the link.",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="agreements",
                        to="workorders.workorder",
                    ),
                ),
                (
                    "question",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="agreement",
                        to="workorders.question",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.AddIndex(
            model_name="question",
            index=models.Index(
                condition=models.Q(("state__in", ["proposed", "open", "declined"])),
                fields=["order"],
                name="question_waiting",
            ),
        ),
        migrations.AddConstraint(
            model_name="question",
            constraint=models.CheckConstraint(
                condition=models.Q(models.Q(("what", ""), _negated=True), models.Q(("why", ""), _negated=True)),
                name="question_says_what_and_why",
                violation_error_message="Say what more is needed, and why.",
            ),
        ),
        migrations.AddConstraint(
            model_name="question",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("state__in", ["proposed", "withdrawn"]),
                    models.Q(
                        ("asked_at__isnull", False),
                        ("asked_by__isnull", False),
                        ("by_how_much__isnull", False),
                        ("link_until__isnull", False),
                        ("new_total__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="question_asked_with_price",
                violation_error_message="A question to the customer names its price, who asked, and when.",
            ),
        ),
        migrations.AddConstraint(
            model_name="question",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("by_how_much", None), ("by_how_much__gt", 0), _connector="OR"),
                    models.Q(("new_total", None), ("new_total__gte", models.F("by_how_much")), _connector="OR"),
                ),
                name="question_price_plausible",
                violation_error_message="What more it costs is above zero, and the new total is not less.",
            ),
        ),
        migrations.AddConstraint(
            model_name="question",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("answered_at", None),
                        ("answered_by", None),
                        ("answered_how", ""),
                        ("answered_name", ""),
                        ("state__in", ["proposed", "open"]),
                    ),
                    models.Q(
                        ("answered_at__isnull", False),
                        ("answered_how__in", ["desk", "telephone", "writing", "link"]),
                        ("state__in", ["agreed", "declined"]),
                        models.Q(("answered_name", ""), _negated=True),
                        models.Q(
                            models.Q(("answered_by", None), ("answered_how", "link")),
                            models.Q(models.Q(("answered_how", "link"), _negated=True), ("answered_by__isnull", False)),
                            _connector="OR",
                        ),
                    ),
                    models.Q(
                        ("answered_at__isnull", False),
                        ("answered_by__isnull", False),
                        ("answered_how", ""),
                        ("answered_name", ""),
                        ("state", "withdrawn"),
                    ),
                    _connector="OR",
                ),
                name="question_answered_by_somebody",
                violation_error_message="An answer says who gave it, when, how, and who noted it.",
            ),
        ),
        migrations.AddConstraint(
            model_name="question",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "withdrawn"), _negated=True),
                    models.Q(("withdrawn_why", ""), _negated=True),
                    _connector="OR",
                ),
                name="question_withdrawn_with_reason",
                violation_error_message="Say why the question is withdrawn.",
            ),
        ),
        migrations.AddConstraint(
            model_name="question",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("after", ""), ("after_at", None), ("after_by", None)),
                    models.Q(
                        ("after__in", ["unfinished", "without"]),
                        ("after_at__isnull", False),
                        ("after_by__isnull", False),
                        ("state", "declined"),
                    ),
                    _connector="OR",
                ),
                name="question_after_declined",
                violation_error_message="What happens then is said of a question that was not agreed, by somebody.",
            ),
        ),
        migrations.AddConstraint(
            model_name="agreement",
            constraint=models.CheckConstraint(
                condition=models.Q(models.Q(("what", ""), _negated=True), models.Q(("agreed_by", ""), _negated=True)),
                name="agreement_says_what_and_who",
                violation_error_message="An agreement says what was agreed and who agreed.",
            ),
        ),
        migrations.AddConstraint(
            model_name="agreement",
            constraint=models.CheckConstraint(
                condition=models.Q(("up_to", None), ("up_to__gte", 0), _connector="OR"),
                name="agreement_price_not_negative",
                violation_error_message="A price is zero or more.",
            ),
        ),
        migrations.AddConstraint(
            model_name="agreement",
            constraint=models.CheckConstraint(
                condition=models.Q(("how__in", ["desk", "telephone", "writing", "link"])), name="agreement_how_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="agreement",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("how", "link"), ("by", None)),
                    models.Q(models.Q(("how", "link"), _negated=True), ("by__isnull", False)),
                    _connector="OR",
                ),
                name="agreement_noted_by_somebody",
                violation_error_message="Only what comes through the link is noted by nobody of the shop.",
            ),
        ),
        migrations.AddConstraint(
            model_name="agreement",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("signed", "screen"), models.Q(("signature", ""), _negated=True)),
                    models.Q(("signed__in", ["", "paper"]), ("signature", "")),
                    _connector="OR",
                ),
                name="agreement_signature_kept",
                violation_error_message="Signed on the screen means that the signature is kept, and only then.",
            ),
        ),
        WriteOnce("workorders_question", "answered_at"),
        AppendOnly("workorders_agreement"),
    ]
