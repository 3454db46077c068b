"""What the manager fills in of the working calendar, and of labour times."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.calc.bench_time import WEEKDAYS
from shop.specs.labour import as_seen
from shop.specs.models import MOST_MINUTES
from shop.staff.models import User
from shop.staff.models.hours import MONTH_CHOICES, NTH_CHOICES, WEEKDAY_CHOICES
from shop.web.bench_fields import MinutesField
from shop.web.fields import DayField
from shop.web.forms import KeyedForm


def from_day_field(**kwargs):
    return DayField(
        label="From this day on", initial=lambda: timezone.localdate(), help_text="What was before stays as it is.",
        **kwargs,
    )  # fmt: skip


def time_field(label, **kwargs):
    widget = forms.TimeInput({"type": "time"}, format="%H:%M")
    messages = {"invalid": "This is no time of day. Write it like 08:00."}
    return forms.TimeField(label=label, required=False, widget=widget, error_messages=messages, **kwargs)


class WorkingHoursForm(KeyedForm):
    """From when to when the shop works; cleans to what set_working_hours takes: from_day, week."""

    from_day = from_day_field()

    def __init__(self, *args, week=(), **kwargs):
        super().__init__(*args, **kwargs)
        for weekday, name in enumerate(WEEKDAYS):
            opens, closes = week[weekday] if week and week[weekday] else (None, None)
            self.fields[f"opens_{weekday}"] = time_field(f"{name} from", initial=opens)
            self.fields[f"closes_{weekday}"] = time_field(f"{name} to", initial=closes)

    def days(self):
        return [(name, self[f"opens_{n}"], self[f"closes_{n}"]) for n, name in enumerate(WEEKDAYS)]

    def clean(self):
        data, week = super().clean(), []
        for weekday, name in enumerate(WEEKDAYS):
            opens, closes = data.pop(f"opens_{weekday}", None), data.pop(f"closes_{weekday}", None)
            if (opens is None) != (closes is None) and not self.errors:
                missing = "opens" if opens is None else "closes"
                words = f"{name} has only one of its times. Give both, or neither when the shop does not work then."
                self.add_error(f"{missing}_{weekday}", words)
            week.append((opens, closes) if opens and closes else None)
        return data | {"week": week}


class BenchHoursForm(KeyedForm):
    """A person's time at the benches; cleans to what set_bench_hours takes: from_day, week."""

    from_day = from_day_field()

    def __init__(self, *args, week=(), **kwargs):
        super().__init__(*args, **kwargs)
        for weekday, name in enumerate(WEEKDAYS):
            initial = week[weekday] if week and week[weekday] else None
            self.fields[f"minutes_{weekday}"] = MinutesField(label=name, required=False, initial=initial)

    def days(self):
        return [self[f"minutes_{n}"] for n in range(7)]

    def clean(self):
        data = super().clean()
        return data | {"week": [data.pop(f"minutes_{weekday}", None) or 0 for weekday in range(7)]}


class AbsenceForm(KeyedForm):
    person = forms.ModelChoiceField(User.objects.none(), empty_label="Choose one")
    first_day = DayField(label="From")
    last_day = DayField(label="To", help_text="The last day of it.")
    minutes_left = MinutesField(
        label="Still at the benches", required=False, help_text="On each of these days; empty: not at all."
    )
    why = forms.CharField(max_length=100, label="Why", help_text="A word: leave, training, ill.")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = User.objects.filter(is_active=True).order_by("first_name", "last_name")

    def clean_minutes_left(self):
        return self.cleaned_data["minutes_left"] or 0


class ClosedDaysForm(KeyedForm):
    name = forms.CharField(max_length=80, help_text="As the desk says it: “closed, stock taking”.")
    first_day = DayField(label="From")
    last_day = DayField(label="To", required=False, help_text="Empty: that one day.")


class ClosedYearlyForm(KeyedForm):
    """A day of a month, or a weekday of it."""

    name = forms.CharField(max_length=80, help_text="As the desk says it: “closed, New Year's Day”.")
    first_day = from_day_field()
    month = forms.TypedChoiceField(choices=MONTH_CHOICES, coerce=int)
    day = forms.IntegerField(
        label="Day of the month", min_value=1, max_value=31, required=False,
        widget=forms.TextInput({"inputmode": "numeric"}), help_text="Or leave it empty and choose a weekday.",
    )  # fmt: skip
    nth = forms.TypedChoiceField(
        label="Which one", choices=[("", "none"), *NTH_CHOICES], coerce=int, empty_value=None, required=False
    )
    weekday = forms.TypedChoiceField(
        choices=[("", "none"), *WEEKDAY_CHOICES], coerce=int, empty_value=None, required=False
    )

    def clean(self):
        data = super().clean()
        if not self.errors:
            by_weekday = data.get("nth") is not None and data.get("weekday") is not None
            half = (data.get("nth") is None) != (data.get("weekday") is None)
            if half or bool(data.get("day")) == by_weekday:
                raise ValidationError(
                    "Give either a day of the month, or which weekday of the month it is: fourth, Thursday."
                )
        return data


class LabourTimeForm(KeyedForm):
    minutes = MinutesField(label="One damper", least=1, most=MOST_MINUTES)
    order_minutes = MinutesField(
        label="Once for each order", required=False, most=MOST_MINUTES, help_text="Wash, tags, paper."
    )
    seen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, own, by_default, **kwargs):
        initial = {"seen": as_seen(own)}
        if own:
            initial |= {"minutes": own.minutes, "order_minutes": own.order_minutes}
        super().__init__(*args, initial=initial, **kwargs)
        if not by_default:
            del self.fields["order_minutes"]

    def catch_up(self, own) -> None:
        """After a conflict: what is sent next answers to what holds now."""
        self.data = self.data.copy()
        self.data["seen"] = as_seen(own)
