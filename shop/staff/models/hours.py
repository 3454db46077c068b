"""The working calendar: when the shop works, who is at the benches how long, and the days on which it is closed."""

from datetime import date

from django.db import models
from django.db.models import F, Q

from shop.calc.bench_time import LAST, MINUTES_OF_A_DAY, WEEKDAYS, hours, yearly
from shop.calc.intervals import day_in_words
from shop.staff.models.people import User

WEEKDAY_CHOICES = list(enumerate(WEEKDAYS))
NTH_CHOICES = [(1, "first"), (2, "second"), (3, "third"), (4, "fourth"), (5, "fifth"), (LAST, "last")]
MONTHS = [
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
]  # fmt: skip
MONTH_CHOICES = list(enumerate(MONTHS, 1))


class WorkingHours(models.Model):
    """From when to when the shop works on a weekday, from a day on; both empty: it does not.

    A later row takes the place of an earlier one from its day on, so what was true before stays so.
    """

    from_day = models.DateField()
    weekday = models.PositiveSmallIntegerField(choices=WEEKDAY_CHOICES)
    opens = models.TimeField(null=True, blank=True)
    closes = models.TimeField(null=True, blank=True)

    class Meta:
        ordering = ["from_day", "weekday"]
        verbose_name_plural = "working hours"
        constraints = [
            models.UniqueConstraint(name="workinghours_once", fields=["from_day", "weekday"]),
            models.CheckConstraint(name="workinghours_weekday_known", condition=Q(weekday__lte=6)),
            models.CheckConstraint(
                name="workinghours_in_order",
                condition=Q(opens=None, closes=None)
                | Q(opens__isnull=False, closes__isnull=False, closes__gt=F("opens")),
                violation_error_message="A working day ends after it begins. Give both times, or neither.",
            ),
        ]

    def __str__(self):
        return f"{self.get_weekday_display()} from {self.from_day}"


class BenchHours(models.Model):
    """How many minutes a person is at the benches on a weekday, from a day on; later rows take the place of earlier."""

    person = models.ForeignKey(User, models.CASCADE, related_name="bench_hours")
    from_day = models.DateField()
    weekday = models.PositiveSmallIntegerField(choices=WEEKDAY_CHOICES)
    minutes = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["person", "from_day", "weekday"]
        verbose_name_plural = "bench hours"
        constraints = [
            models.UniqueConstraint(name="benchhours_once", fields=["person", "from_day", "weekday"]),
            models.CheckConstraint(name="benchhours_weekday_known", condition=Q(weekday__lte=6)),
            models.CheckConstraint(
                name="benchhours_within_a_day",
                condition=Q(minutes__lte=MINUTES_OF_A_DAY),
                violation_error_message="A day has 24 hours.",
            ),
        ]

    def __str__(self):
        return f"{self.person}, {self.get_weekday_display()} from {self.from_day}: {hours(self.minutes)}"


class Absence(models.Model):
    """Days on which a person is not at the benches, or only for some time."""

    person = models.ForeignKey(User, models.CASCADE, related_name="absences")
    first_day = models.DateField()
    last_day = models.DateField()
    minutes_left = models.PositiveSmallIntegerField(default=0, help_text="At the benches on each of these days.")
    why = models.CharField(max_length=100)

    class Meta:
        ordering = ["first_day", "pk"]
        constraints = [
            models.CheckConstraint(
                name="absence_in_order",
                condition=Q(last_day__gte=F("first_day")),
                violation_error_message="The last day lies before the first.",
            ),
            models.CheckConstraint(
                name="absence_within_a_day",
                condition=Q(minutes_left__lte=MINUTES_OF_A_DAY),
                violation_error_message="A day has 24 hours.",
            ),
            models.CheckConstraint(
                name="absence_has_reason",
                condition=~Q(why=""),
                violation_error_message="Say in a word why: leave, training, ill.",
            ),
        ]

    def __str__(self):
        return f"{self.person}: {self.why}, {self.span()}"

    def span(self) -> str:
        return span_in_words(self.first_day, self.last_day)

    def left_in_words(self) -> str:
        return hours(self.minutes_left)


class ClosedDay(models.Model):
    """Days on which the shop is closed: a span with its last day, or a yearly day by its rule.

    A yearly one counts from its first day on, and until its last day if it was given up.
    """

    name = models.CharField(max_length=80)
    first_day = models.DateField()
    last_day = models.DateField(null=True, blank=True)
    month = models.PositiveSmallIntegerField(choices=MONTH_CHOICES, null=True, blank=True)
    day = models.PositiveSmallIntegerField(null=True, blank=True)
    weekday = models.PositiveSmallIntegerField(choices=WEEKDAY_CHOICES, null=True, blank=True)
    nth = models.SmallIntegerField(choices=NTH_CHOICES, null=True, blank=True)

    class Meta:
        ordering = ["month", "day", "first_day", "pk"]
        constraints = [
            models.CheckConstraint(
                name="closedday_in_order",
                condition=Q(last_day=None) | Q(last_day__gte=F("first_day")),
                violation_error_message="The last day lies before the first.",
            ),
            models.CheckConstraint(
                name="closedday_one_rule",
                condition=Q(month=None, day=None, weekday=None, nth=None, last_day__isnull=False)
                | Q(month__isnull=False, day__isnull=False, weekday=None, nth=None)
                | Q(month__isnull=False, day=None, weekday__isnull=False, nth__isnull=False),
                violation_error_message="Give days from and to, or a day of a month, or a weekday of a month.",
            ),
            models.CheckConstraint(
                name="closedday_in_the_calendar",
                condition=(Q(month=None) | Q(month__gte=1, month__lte=12))
                & (Q(day=None) | Q(day__gte=1, day__lte=31))
                & (Q(weekday=None) | Q(weekday__lte=6))
                & (Q(nth=None) | Q(nth=LAST) | Q(nth__gte=1, nth__lte=5)),
                violation_error_message="No year has such a day.",
            ),
            models.CheckConstraint(
                name="closedday_has_name",
                condition=~Q(name=""),
                violation_error_message="Give the day its name, so that the desk can say why the shop is closed.",
            ),
        ]

    def __str__(self):
        return f"{self.name}: {self.rule()}"

    def rule(self) -> str:
        """When, in words: "every year on 1 January", "the fourth Thursday of November", "24 to 26 December 2026"."""
        if self.month is None:
            return span_in_words(self.first_day, self.last_day)
        month = self.get_month_display()
        when = (
            f"{self.day} {month}" if self.day else f"{self.get_nth_display()} {self.get_weekday_display()} of {month}"
        )
        return f"every year on {'' if self.day else 'the '}{when}"

    def holds(self, on: date) -> bool:
        """Whether the shop is closed on a day for this reason."""
        if on < self.first_day or (self.last_day is not None and on > self.last_day):
            return False
        return self.month is None or on == yearly(on.year, self.month, self.day, self.weekday, self.nth)


def span_in_words(first: date, last: date) -> str:
    return day_in_words(first) if first == last else f"{day_in_words(first)} to {day_in_words(last)}"
