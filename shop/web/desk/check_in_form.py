"""Everything that is noted when an order comes in."""

from django import forms
from django.core.exceptions import ValidationError

from shop.core.images import signature_of
from shop.customers.models import METER_QUANTITY
from shop.dampers.clicks import clicks_in_words
from shop.dampers.measures import FOUND_AND_LEFT
from shop.web.desk.forms import METERS, MOST_NAME, AsksForm
from shop.web.fields import MoneyField, QuantityField, bench_temperature_field
from shop.web.forms import text_field
from shop.web.photos import PhotosField
from shop.web.words import count
from shop.workorders.services import NewAgreement, keep_picture

CONDITION = "Leaks, damage, dirt, what is missing."
CAME_ALONG = "Such as: spring and bump stops with it, mounting bolts in a bag."


class SignatureField(forms.CharField):
    """What was drawn on the screen, as a data URL; cleans to a picture that is kept, or None."""

    def __init__(self, **kwargs):
        super().__init__(required=False, widget=forms.HiddenInput({"data-signature": ""}), **kwargs)

    def clean(self, value):
        text = super().clean(value)
        return keep_picture(signature_of(text)) if text else None


class CheckInForm(AsksForm):
    """Cleans to what check_in takes: complaint, meters, as_found, conditions, photos, agreed."""

    complaint = text_field(1000, label="What the customer says")
    words = text_field(500, rows=2, label="Condition as a whole", required=False, help_text=CONDITION)
    along = forms.CharField(label="What came along", max_length=300, required=False, help_text=CAME_ALONG)
    photos = PhotosField(label="Photos of the whole")
    agreed_what = text_field(500, rows=2, label="What was agreed")
    agreed_up_to = MoneyField(
        name="agreed up to",
        label="Up to which price in all",
        required=False,
        help_text="Empty: no limit was agreed, and the customer is asked before anything more.",
    )
    agreed_by = forms.CharField(label="Who agreed", max_length=MOST_NAME)
    signature = SignatureField(label="Signature")
    on_paper = forms.BooleanField(label="Signed on paper instead, by the name above", required=False)

    def __init__(self, *args, order, jobs, **kwargs):
        initial = {
            "complaint": order.complaint,
            "agreed_what": f"{order.get_service_display()} of {count(len(jobs), 'damper')}",
            "agreed_by": order.customer.name,
        }
        super().__init__(*args, initial=initial, **kwargs)
        self.jobs = jobs
        self.fields["bench_temperature"] = bench_temperature_field(
            required=False,
            help_text="For the charge to aim at, on the card. Empty: the card leaves a line for it.",
        )
        self.meter_names = []
        if order.vehicle:
            for name, meter, label in METERS:
                self.fields[name] = QuantityField(METER_QUANTITY[meter], label=label, required=False)
                self.meter_names.append((name, meter))
        self.found_names = {}
        for job in jobs:
            where = job.damper.where().capitalize()
            for measure in FOUND_AND_LEFT:
                name = f"found_{job.pk}_{measure}"
                self.found_names[name] = (job, measure)
                self.fields[name] = QuantityField.of(
                    measure,
                    name=f"{where}: {measure.label}",
                    help_text=clicks_in_words(job.damper.model, measure),
                    required=False,
                )
            self.fields[f"words_{job.pk}"] = text_field(
                500, rows=2, label="Condition", required=False, help_text=CONDITION
            )  # fmt: skip
            self.fields[f"along_{job.pk}"] = forms.CharField(label="What came along", max_length=300, required=False)
            self.fields[f"photos_{job.pk}"] = PhotosField(label="Photos")

    def meters(self):
        return [self[name] for name, _ in self.meter_names]

    def found(self, job):
        return [self[name] for name, (one, _) in self.found_names.items() if one == job]

    def state_of(self, job):
        """Condition, what came along and photos of one damper."""
        return [self[f"{name}_{job.pk}"] for name in ("words", "along", "photos")]

    def clean(self):
        data = super().clean()
        whole = [(None, ""), *((job, f"_{job.pk}") for job in self.jobs)]
        if data.get("signature") and data.get("on_paper"):
            raise ValidationError("It is signed on the screen and said to be signed on paper. Clear one of the two.")
        return {
            "request_key": data.get("request_key", ""),
            "complaint": data.get("complaint"),
            "bench_temperature": data.get("bench_temperature"),
            "confirmed": data.get("confirmed", False),
            "meters": [(meter, data[name]) for name, meter in self.meter_names if data.get(name)],
            "as_found": [(*key, data[name]) for name, key in self.found_names.items() if data.get(name)],
            "conditions": [
                (job, data.get(f"words{end}") or "", data.get(f"along{end}") or "")
                for job, end in whole
                if data.get(f"words{end}") or data.get(f"along{end}")
            ],
            "photos": [(job, one) for job, end in whole for one in data.get(f"photos{end}") or []],
            "agreed": NewAgreement(
                what=data.get("agreed_what", ""),
                up_to=data.get("agreed_up_to"),
                agreed_by=data.get("agreed_by", ""),
                signature=data.get("signature"),
                on_paper=data.get("on_paper", False),
            ),
        }
