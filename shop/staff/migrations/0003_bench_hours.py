"""The working calendar: hours of the shop and of each person, absences, closed days."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("staff", "0002_append_only"),
    ]

    operations = [
        migrations.CreateModel(
            name="ClosedDay",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=80)),
                ("first_day", models.DateField()),
                ("last_day", models.DateField(blank=True, null=True)),
                (
                    "month",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        choices=[
                            (1, "January"),
                            (2, "February"),
                            (3, "March"),
                            (4, "April"),
                            (5, "May"),
                            (6, "June"),
                            (7, "July"),
                            (8, "August"),
                            (9, "September"),
                            (10, "October"),
                            (11, "November"),
                            (12, "December"),
                        ],
                        null=True,
                    ),
                ),
                ("day", models.PositiveSmallIntegerField(blank=True, null=True)),
                (
                    "weekday",
                    models.PositiveSmallIntegerField(
                        blank=True,
                        choices=[
                            (0, "Monday"),
                            (1, "Tuesday"),
                            (2, "Wednesday"),
                            (3, "Thursday"),
                            (4, "Friday"),
                            (5, "Saturday"),
                            (6, "Sunday"),
                        ],
                        null=True,
                    ),
                ),
                (
                    "nth",
                    models.SmallIntegerField(
                        blank=True,
                        choices=[(1, "first"), (2, "second"), (3, "third"), (4, "fourth"), (5, "fifth"), (-1, "last")],
                        null=True,
                    ),
                ),
            ],
            options={
                "ordering": ["month", "day", "first_day", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("last_day", None), ("last_day__gte", models.F("first_day")), _connector="OR"
                        ),
                        name="closedday_in_order",
                        violation_error_message="The last day lies before the first.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("day", None),
                                ("last_day__isnull", False),
                                ("month", None),
                                ("nth", None),
                                ("weekday", None),
                            ),
                            models.Q(
                                ("day__isnull", False), ("month__isnull", False), ("nth", None), ("weekday", None)
                            ),
                            models.Q(
                                ("day", None),
                                ("month__isnull", False),
                                ("nth__isnull", False),
                                ("weekday__isnull", False),
                            ),
                            _connector="OR",
                        ),
                        name="closedday_one_rule",
                        violation_error_message="Give days from and to, or a day of a month, or a weekday of a month.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("month", None), models.Q(("month__gte", 1), ("month__lte", 12)), _connector="OR"),
                            models.Q(("day", None), models.Q(("day__gte", 1), ("day__lte", 31)), _connector="OR"),
                            models.Q(("weekday", None), ("weekday__lte", 6), _connector="OR"),
                            models.Q(
                                ("nth", None), ("nth", -1), models.Q(("nth__gte", 1), ("nth__lte", 5)), _connector="OR"
                            ),
                        ),
                        name="closedday_in_the_calendar",
                        violation_error_message="No year has such a day.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("name", ""), _negated=True),
                        name="closedday_has_name",
                        violation_error_message="Give the day its name, so that the desk can say why the shop is closed.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="WorkingHours",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_day", models.DateField()),
                (
                    "weekday",
                    models.PositiveSmallIntegerField(
                        choices=[
                            (0, "Monday"),
                            (1, "Tuesday"),
                            (2, "Wednesday"),
                            (3, "Thursday"),
                            (4, "Friday"),
                            (5, "Saturday"),
                            (6, "Sunday"),
                        ]
                    ),
                ),
                ("opens", models.TimeField(blank=True, null=True)),
                ("closes", models.TimeField(blank=True, null=True)),
            ],
            options={
                "verbose_name_plural": "working hours",
                "ordering": ["from_day", "weekday"],
                "constraints": [
                    models.UniqueConstraint(fields=("from_day", "weekday"), name="workinghours_once"),
                    models.CheckConstraint(condition=models.Q(("weekday__lte", 6)), name="workinghours_weekday_known"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("closes", None), ("opens", None)),
                            models.Q(
                                ("closes__gt", models.F("opens")), ("closes__isnull", False), ("opens__isnull", False)
                            ),
                            _connector="OR",
                        ),
                        name="workinghours_in_order",
                        violation_error_message="A working day ends after it begins. Give both times, or neither.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Absence",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("first_day", models.DateField()),
                ("last_day", models.DateField()),
                (
                    "minutes_left",
                    models.PositiveSmallIntegerField(default=0, help_text="At the benches on each of these days."),
                ),
                ("why", models.CharField(max_length=100)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="absences",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["first_day", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("last_day__gte", models.F("first_day"))),
                        name="absence_in_order",
                        violation_error_message="The last day lies before the first.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("minutes_left__lte", 1440)),
                        name="absence_within_a_day",
                        violation_error_message="A day has 24 hours.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("why", ""), _negated=True),
                        name="absence_has_reason",
                        violation_error_message="Say in a word why: leave, training, ill.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="BenchHours",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_day", models.DateField()),
                (
                    "weekday",
                    models.PositiveSmallIntegerField(
                        choices=[
                            (0, "Monday"),
                            (1, "Tuesday"),
                            (2, "Wednesday"),
                            (3, "Thursday"),
                            (4, "Friday"),
                            (5, "Saturday"),
                            (6, "Sunday"),
                        ]
                    ),
                ),
                ("minutes", models.PositiveSmallIntegerField()),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="bench_hours",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "bench hours",
                "ordering": ["person", "from_day", "weekday"],
                "constraints": [
                    models.UniqueConstraint(fields=("person", "from_day", "weekday"), name="benchhours_once"),
                    models.CheckConstraint(condition=models.Q(("weekday__lte", 6)), name="benchhours_weekday_known"),
                    models.CheckConstraint(
                        condition=models.Q(("minutes__lte", 1440)),
                        name="benchhours_within_a_day",
                        violation_error_message="A day has 24 hours.",
                    ),
                ],
            },
        ),
    ]
