"""E-mails that ask customers a question about the price: rows that are their own queue."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("reminders", "0001_initial"),
        ("workorders", "0011_check_in_extras"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="QuestionMail",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "number",
                    models.PositiveSmallIntegerField(
                        help_text="Counts the mails of a question; part of the Message-ID."
                    ),
                ),
                ("to_address", models.EmailField(max_length=254)),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("queued", "waiting to be sent"),
                            ("sending", "being sent"),
                            ("sent", "sent"),
                            ("failed", "could not be sent"),
                            ("suppressed", "held back"),
                        ],
                        default="queued",
                        max_length=10,
                    ),
                ),
                (
                    "error",
                    models.CharField(
                        blank=True, help_text="What the last try met with, or why it was held.", max_length=500
                    ),
                ),
                ("created_at", models.DateTimeField()),
                ("send_after", models.DateTimeField(help_text="Not tried before this moment.")),
                ("claimed_at", models.DateTimeField(blank=True, null=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("deferrals", models.PositiveSmallIntegerField(default=0)),
                ("claims_lost", models.PositiveSmallIntegerField(default=0)),
                (
                    "message_id",
                    models.CharField(
                        help_text="Message-ID of the mail and of every repeat.", max_length=255, unique=True
                    ),
                ),
                ("sent_at", models.DateTimeField(blank=True, null=True)),
                (
                    "by",
                    models.ForeignKey(
                        help_text="Who had it sent.",
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "question",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="mails", to="workorders.question"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("status", "queued")), fields=["send_after"], name="questionmail_queue"
                    )
                ],
                "constraints": [
                    models.UniqueConstraint(fields=("question", "number"), name="questionmail_number_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("status__in", ["queued", "sending"])),
                        fields=("question",),
                        name="questionmail_one_on_its_way",
                        violation_error_message="A mail about this question is on its way already.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("status__in", ["queued", "sending", "sent", "failed", "suppressed"])),
                        name="questionmail_status_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                models.Q(("status__in", ["failed", "suppressed"]), _negated=True),
                                models.Q(("error", ""), _negated=True),
                                _connector="OR",
                            ),
                            models.Q(
                                models.Q(("status", "sent"), _negated=True), ("sent_at__isnull", False), _connector="OR"
                            ),
                            models.Q(
                                models.Q(("status", "sending"), _negated=True),
                                ("claimed_at__isnull", False),
                                _connector="OR",
                            ),
                        ),
                        name="questionmail_outcome_told",
                        violation_error_message="A mail says when it was sent, or why not.",
                    ),
                ],
            },
        ),
    ]
