import re

from django import forms
from django.core.exceptions import ValidationError

from shop.calc import units
from shop.core import amounts
from shop.core.errors import Conflict
from shop.dampers.clicks import clicks_in_words
from shop.dampers.measures import QUANTITY, Measure
from shop.documents.selectors.words import as_entered
from shop.parts.models import BASE_UNIT_SI
from shop.staff.abilities import ABILITIES
from shop.staff.models import User
from shop.web.fields import QuantityField, bench_temperature_field
from shop.web.forms import Form, KeyedForm
from shop.workorders.charge import allowed_range
from shop.workorders.models import TOOL_FOR, Tool

READ_AS = {
    Measure.SHAFT_NUT_TORQUE: "Torque read on the wrench",
    Measure.CHARGE: "Charge read on the gauge",
    Measure.IFP_DEPTH: "Depth read on the depth tool",
    Measure.OIL_VOLUME: "Oil that went in",
}
TAG = re.compile(r"(?:[A-Z]{1,6}\s*-?\s*)?(\d{4,9})(?:\s*[-‐–−/ ]\s*(\d{1,4}))?", re.IGNORECASE | re.ASCII)
SCANNED = re.compile(r"https?://\S+/bench/(\d{1,9})/?", re.ASCII)


class TagForm(Form):
    """The field into which a tag is typed or scanned; cleans to the jobs that it names, as a filter."""

    tag = forms.CharField(
        max_length=200,
        label="Scan a bag's tag, or type it: 1042-4",
        widget=forms.TextInput({"autocomplete": "off", "autofocus": True}),
        error_messages={"required": "Nothing is typed here. Scan the tag of a bag, or type it."},
    )

    def clean_tag(self):
        text = self.cleaned_data["tag"]
        if match := SCANNED.fullmatch(text):
            return {"pk": int(match[1])}
        match = TAG.fullmatch(text)
        if match is None or int(match[1]) <= 1000:
            raise ValidationError(
                "“%(text)s” is no tag. A tag is the order's number, a dash and the damper's count, such as 1042-4.",
                code="tag",
                params={"text": text[:60]},
            )
        order = {"order": int(match[1]) - 1000}
        return order | {"index": int(match[2])} if match[2] else order


class ToolSelect(forms.RadioSelect):
    """Radio buttons of tools; one that cannot be used stays in sight, out of reach, with the reason as its label."""

    unfit: dict

    def create_option(self, name, value, label, *args, **kwargs):
        option = super().create_option(name, value, label, *args, **kwargs)
        why = self.unfit.get(getattr(value, "value", None))
        if why:
            option["label"] = why
            option["attrs"]["disabled"] = True
        return option


class ToolField(forms.ModelChoiceField):
    """A tool in use of the kind with which a measure is read. unfit(tool) says in a sentence why one cannot be used."""

    def __init__(self, measure, unfit, **kwargs):
        tools = Tool.objects.filter(kind=TOOL_FOR[measure], in_use=True)
        self.measure = measure
        super().__init__(
            tools,
            label=f"Which {TOOL_FOR[measure].label}",
            empty_label=None,
            widget=ToolSelect,
            error_messages={
                "required": f"Say with which {TOOL_FOR[measure].label} it was read.",
                "invalid_choice": f"This is no {TOOL_FOR[measure].label} of the shop. Choose one of the list.",
            },
            **kwargs,
        )
        self.widget.unfit = {tool.pk: why for tool in tools if (why := unfit(tool))}
        fit = [tool for tool in tools if tool.pk not in self.widget.unfit]
        self.initial = fit[0] if len(fit) == 1 else None

    def label_from_instance(self, tool):
        span = amounts.span(tool.low_si, tool.high_si, QUANTITY[self.measure])
        unit = amounts.shop_unit(QUANTITY[self.measure])
        return f"{tool.code}, {span} {unit}, calibrated to {tool.calibration_due_on:%-d %B %Y}"


def figure_field(measure, **kwargs):
    """A large field for a figure of a damper, with its unit beside it."""
    kwargs.setdefault("error_messages", {"required": "Nothing is typed here. Type the figure that was read."})
    return QuantityField.of(measure, template_name="tablet/_reading.html", **kwargs)


def bench_field():
    return bench_temperature_field(
        template_name="tablet/_reading.html",
        error_messages={"required": "Nothing is typed here. Read the thermometer at the bench."},
    )


class BenchForm(forms.Form):
    """The bench temperature alone, to be told what to aim at."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["bench_temperature"] = bench_field()


class ReadingForm(KeyedForm):
    """The figure of a step: the bench temperature before a charge, the value, the tool for it.

    value is what the reading is held against, None for none; sheet is where it stands.
    """

    def __init__(self, *args, measure, value, sheet, unfit, **kwargs):
        super().__init__(*args, **kwargs)
        measure = Measure(measure)
        if measure == Measure.CHARGE:
            self.fields["bench_temperature"] = bench_field()
        entered = figure_field(measure, label=READ_AS.get(measure, measure.label))
        if value and measure == Measure.CHARGE and sheet.reference_k is not None and self.bench_k() is None:
            entered.judged_later = True  # which range holds, the bench temperature tells
        elif value:
            # In the shop's unit and never wider than the truth: a help for the eye while typing.
            limits = allowed_range(value, sheet, self.bench_k())
            entered.low, entered.high = amounts.span(*limits, value.quantity).split(" to ")
        self.fields["entered"] = entered
        if measure in TOOL_FOR:
            self.fields["tool"] = ToolField(measure, unfit)

    def bench_k(self) -> float | None:
        """The bench temperature that was typed, in K; None for none, or for one that cannot be read."""
        field = self.fields.get("bench_temperature")
        typed = (self.data if self.is_bound else self.initial).get("bench_temperature")
        try:
            entered = field.clean(typed) if field else None
        except ValidationError:
            return None
        return entered.si if entered else None


class CorrectionForm(ReadingForm):
    """Another figure in the place of one that is in the books, and why."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["why"] = forms.CharField(
            max_length=200,
            label="Why the earlier figure is wrong",
            widget=forms.Textarea({"rows": 2}),
            error_messages={"required": "Say why the earlier figure is wrong, in a few words."},
        )


class DoneForm(KeyedForm):
    """A step without a figure: the press of a button says that it is done."""


class AsLeftForm(KeyedForm):
    """The settings as left, one field each; what was found stands beside and is never filled in by itself."""

    def __init__(self, *args, settings, **kwargs):
        super().__init__(*args, **kwargs)
        for setting in settings:
            found = setting.found
            field = figure_field(Measure(setting.measure), required=bool(found))
            if QUANTITY[Measure(setting.measure)] == "count":
                field.step = "1"
            if found:
                field.found = f"{found.figures} {found.unit}"
                field.start = units.figures(found.value_si, field.unit)
            self.fields[setting.measure] = field

    def tell_clicks(self, damper_model) -> None:
        """Say beside each field how many clicks the adjuster has, as far as that is known."""
        for measure, field in self.fields.items():
            field.help_text = field.help_text or clicks_in_words(damper_model, measure)


class PersonSelect(forms.RadioSelect):
    """Radio buttons of people; whoever did the step stays in sight and out of reach."""

    first = None

    def create_option(self, name, value, label, *args, **kwargs):
        option = super().create_option(name, value, label, *args, **kwargs)
        if self.first and getattr(value, "value", None) == self.first.pk:
            option["label"] = f"{label}: did it, so somebody else checks"
            option["attrs"]["disabled"] = True
        return option


class CheckForm(KeyedForm):
    """The second person and their own PIN."""

    by = forms.ModelChoiceField(
        User.objects.none(),
        label="Who checks",
        empty_label=None,
        widget=PersonSelect,
        error_messages={
            "required": "Choose who checks.",
            "invalid_choice": "This person does not work at the bench. Choose one of the list.",
        },
    )
    pin = forms.CharField(
        max_length=8,
        label="Personal PIN of whoever checks",
        help_text="Typed anew each time; this tablet does not keep it.",
        template_name="tablet/_reading.html",
        widget=forms.PasswordInput({"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={"required": "Type your own PIN."},
    )

    seen = forms.CharField(max_length=20, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, first, reading, **kwargs):
        super().__init__(*args, **kwargs)
        self.reading = reading
        self.fields["seen"].initial = reading.pk if reading else ""
        field = self.fields["by"]
        field.queryset = User.objects.filter(is_active=True, role__in=ABILITIES["work"]).order_by(
            "first_name", "last_name", "username"
        )
        field.widget.first = first

    def check_reading(self) -> None:
        """Raise Conflict when the page showed another reading than the one that would be confirmed."""
        if self.cleaned_data.pop("seen") == str(self.reading.pk if self.reading else ""):
            return
        now = as_entered(self.reading) or "nothing"
        self.data = self.data | {"seen": self.reading.pk if self.reading else ""}
        raise Conflict(
            f"The reading was corrected while this page was open: the books now hold {now}. Look at it again first.",
            code="corrected",
        )


class CloseForm(KeyedForm):
    """Closing needs nothing more than the press of a button."""


class OpenAgainForm(KeyedForm):
    why = forms.CharField(
        max_length=300,
        label="What went wrong, or what has to be done once more",
        help_text="Prints on the service record, with your name.",
        widget=forms.Textarea({"rows": 3}),
        error_messages={"required": "Say why the damper is opened again, in a few words."},
    )


class TakeSheetForm(KeyedForm):
    why = forms.CharField(
        max_length=300,
        label="Why it is held against another sheet now",
        help_text="Prints on card and record with the sheet, with your name.",
        widget=forms.Textarea({"rows": 3}),
        error_messages={"required": "Say why the damper is held against another sheet now, in a few words."},
    )


class OverrideForm(KeyedForm):
    override_reason = forms.CharField(
        max_length=500,
        label="Why it is closed all the same",
        help_text="Prints on the service record, with your name.",
        widget=forms.Textarea({"rows": 3}),
        error_messages={"required": "Say why this damper is closed although something is missing."},
    )


class UsedForm(KeyedForm):
    """What each line of the pick list used, filled in with what it asked for; cleans to what close_order takes."""

    def __init__(self, *args, lines, **kwargs):
        super().__init__(*args, **kwargs)
        self.lines = {}
        for line in lines:
            name = f"used_{line.pk}"
            self.lines[name] = line
            self.fields[name] = self._field(line)

    def _field(self, line):
        unit = "pcs" if line.measure == "count" else None
        field = QuantityField(
            line.measure,
            unit=unit,
            name=f"{line.tag}: {line.name}",
            label=f"{line.name[:1].upper()}{line.name[1:]} used",
            help_text=f"{line.part_number}: {'; '.join(told(line))}.",
            template_name="tablet/_reading.html",
            error_messages={"required": "Nothing is typed here. Type 0 if none was used."},
        )
        field.initial = _exactly(line.asks_for * BASE_UNIT_SI[line.measure], field.unit)
        if line.measure == "count":
            field.step = "1"
        return field

    def rows(self):
        return [(line, self[name]) for name, line in self.lines.items()]

    def clean(self):
        data = super().clean()
        used = [(line, self._amount(name, line, data[name])) for name, line in self.lines.items() if name in data]
        return {"request_key": data.get("request_key", ""), "used": used}

    def _amount(self, name, line, entered):
        """Base units; an amount left as it stood is the amount asked for, whatever its figures were rounded to."""
        if entered.figures == self.fields[name].initial and entered.unit == self.fields[name].unit:
            return line.asks_for
        return amounts.to_base_unit(entered.si, line.measure)


def _exactly(value_si, unit):
    """Figures with as many decimals as the amount has, down to the base unit: half a millilitre is not one."""
    text = units.figures(value_si, unit, 3)
    return text.rstrip("0").rstrip(".") if "." in text else text


def told(line):
    """What the pick list knows of a line, in words."""
    yield f"asked for {amounts.stock_amount(line.amount, line.measure)}"
    if line.not_asked:
        yield "not asked for any more"
    if line.issued and line.issued != line.amount:
        yield f"{amounts.stock_amount(line.issued, line.measure)} in the bag"
    yield f"picked by {line.picked_by}" if line.picked_at else "not picked: it is taken from the shelf now"
    if line.short:
        yield f"{amounts.stock_amount(line.short, line.measure)} short"
    if not line.part:
        yield "not in the stock list"
