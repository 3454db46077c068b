"""Forms about prices: what is agreed, what is asked, what the customer answers."""

from django import forms

from shop.web.desk.forms import MOST_NAME
from shop.web.fields import MoneyField
from shop.web.forms import KeyedForm, text_field
from shop.workorders.agreed import agreed_total
from shop.workorders.models import After, AgreedHow, DamperJob, JobStatus
from shop.workorders.services import NewAgreement

HOW = [(one.value, one.label) for one in AgreedHow if one != AgreedHow.LINK]


class AgreementForm(KeyedForm):
    """Cleans to what note_agreement takes."""

    what = text_field(500, rows=2, label="What was agreed")
    up_to = MoneyField(
        name="up to", label="Up to which price in all", required=False,
        help_text="Empty: no limit was agreed, and the customer is asked before anything more.",
    )  # fmt: skip
    agreed_by = forms.CharField(label="Who agreed", max_length=MOST_NAME)
    how = forms.ChoiceField(label="How", choices=HOW, widget=forms.RadioSelect)

    def clean(self):
        data = super().clean()
        key = data.pop("request_key", "")
        names = ("what", "up_to", "agreed_by", "how")
        return {"request_key": key, "agreed": NewAgreement(**{name: data.get(name) for name in names})}


class PriceForm(KeyedForm):
    """The words for the customer and the price; the total only where no limit was agreed."""

    what = forms.CharField(label="What more is needed", max_length=300)
    why = text_field(500, rows=2, label="Why")
    by_how_much = MoneyField(label="How much more")
    new_total = MoneyField(label="In all with this", help_text="No limit was agreed so far, so this is the first one.")

    def __init__(self, *args, order, **kwargs):
        super().__init__(*args, **kwargs)
        if agreed_total(order) is not None:
            del self.fields["new_total"]


class AskForm(PriceForm):
    job = forms.ModelChoiceField(
        DamperJob.objects.none(), label="About", required=False, empty_label="the whole order",
        help_text="What it is about stands still until the customer has answered.",
    )  # fmt: skip

    def __init__(self, *args, order, **kwargs):
        super().__init__(*args, order=order, **kwargs)
        asked = order.jobs.filter(status__in=[JobStatus.BOOKED, JobStatus.OPEN]).select_related("damper")
        self.fields["job"].queryset = asked
        self.order_fields(["job"])


class AnswerForm(KeyedForm):
    agreed = forms.TypedChoiceField(
        label="The customer", choices=[("yes", "agrees"), ("no", "does not agree")],
        coerce=lambda answer: answer == "yes", widget=forms.RadioSelect,
    )  # fmt: skip
    name = forms.CharField(label="Who answered", max_length=MOST_NAME)
    how = forms.ChoiceField(label="How", choices=HOW, widget=forms.RadioSelect)
    after = forms.ChoiceField(
        label="If not agreed: it", choices=[("", "is decided later"), *After.choices], required=False,
        widget=forms.RadioSelect,
    )  # fmt: skip
    new_total = MoneyField(widget=forms.HiddenInput)


class WithdrawForm(KeyedForm):
    why = forms.CharField(label="Why it is not asked any more", max_length=300)


class AfterForm(KeyedForm):
    after = forms.ChoiceField(label="The damper", choices=After.choices, widget=forms.RadioSelect)


class PhotoStrikeForm(KeyedForm):
    why = forms.CharField(label="What is wrong with it", max_length=300)
