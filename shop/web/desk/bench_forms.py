"""What the desk fills in about days: the day sheet's day, a booking's bench days, and what is changed of them."""

from datetime import date

from django import forms
from django.utils import timezone

from shop.dampers.models import Damper
from shop.web.bench_fields import MinutesField
from shop.web.desk.forms import BookForm, DampersField
from shop.web.fields import DayField, MomentField
from shop.web.forms import Form, VersionedForm, text_field

EARLIEST_DAY, LATEST_DAY = date(1990, 1, 1), date(2100, 12, 31)


class DayForm(Form):
    day = DayField(required=False)


class AsksForDays(forms.Form):
    """The bench days of a booking: empty fields take the proposal; what is refused can be booked all the same."""

    bench_from = DayField(
        label="On the benches from", required=False, help_text="Empty: the first day that fits, as proposed."
    )
    anyway = forms.BooleanField(label="Book it all the same", required=False)
    anyway_why = forms.CharField(
        label="Why all the same", max_length=300, required=False, help_text="It stands on the day sheet."
    )
    proposed = forms.DateField(required=False, widget=forms.HiddenInput)
    promise_anyway = forms.BooleanField(label="Promise it all the same", required=False)

    @property
    def asks_about_promise(self) -> bool:
        """Whether the promise was doubted, or was kept all the same and something else is wrong."""
        doubted = any(self.has_error("promised_for", code) for code in ("before_bench", "closed"))
        return doubted or bool(self.is_bound and self.data.get("promise_anyway"))

    @property
    def own_day_open(self) -> bool:
        """Whether the part in which the desk chooses the day itself stands open."""
        names = ("bench_from", "anyway", "anyway_why")
        return self.is_bound and any(self.data.get(name) or name in self.errors for name in names)


class BookOnDaysForm(AsksForDays, BookForm):
    promised_for = MomentField(label="Promised for", required=False, help_text="Empty: as proposed below.")
    field_order = ["request_key", "dampers", "complaint", "arrives_on", "promised_for"]

    def catch_up_with(self, proposal) -> None:
        """After a refusal the page shows a fresh proposal: what is sent next answers to that one."""
        if proposal:
            self.data = self.data.copy()
            self.data["proposed"] = proposal["proposed"]


class ChangeBookingForm(AsksForDays, VersionedForm):
    """Everything of a booking; on the benches only the promise and the bench days."""

    dampers = DampersField(Damper.objects.none(), required=False)
    complaint = text_field(1000, label="What the customer says", required=False)
    arrives_on = DayField(label="Arrives on")
    promised_for = MomentField(label="Promised for")
    minutes = MinutesField(label="Bench time", required=False, least=1, most=400 * 60)
    why = forms.CharField(
        label="Why",
        max_length=300,
        required=False,
        help_text="Asked for when the promise becomes later, or the bench time is another one.",
    )
    field_order = ["request_key", "version", "dampers", "complaint", "arrives_on", "promised_for"]

    def __init__(self, *args, order, dampers, minutes, **kwargs):
        initial = self.filled_from(order) | {"minutes": minutes}
        super().__init__(*args, initial=initial, **kwargs)
        self.booked = not order.checked_in_at
        del self.fields["proposed"]  # what a booking had is no proposal; a promise that the days overtake asks
        self.fields["dampers"].queryset = dampers
        if not self.booked:
            for name in ("dampers", "complaint", "arrives_on"):
                del self.fields[name]
            self.fields["minutes"].label = "Bench time still to do"
        self.fields["bench_from"].help_text = "Empty: the days stay, or the first that fit when they have to move."

    def clean(self):
        data = super().clean()
        if self.booked and not self.errors and not data.get("dampers"):
            self.add_error("dampers", "Keep at least one damper, or call the order off instead.")
        if "dampers" in data:
            data["dampers"] = list(data["dampers"] or [])
        return data

    def _sent(self, name):
        if name != "promised_for":
            return super()._sent(name)
        return " ".join(self.data.get(f"{name}_{part}", "") for part in (0, 1))

    def catch_up(self, row):
        super().catch_up(row)
        self.now = [one for one in map(self._told, self.now) if one]

    def _told(self, pair):
        label, value = pair
        if hasattr(value, "hour"):
            local = timezone.localtime(value)
            if f"{local:%Y-%m-%d %H:%M}" == self._sent("promised_for"):
                return None
            return label, f"{local:%Y-%m-%d %H:%M}"
        return label, value
