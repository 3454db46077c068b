"""What is filled in for a procedure: shapes and labels; the rules live in the domain."""

from django import forms

from shop.dampers.measures import SPECIFIED
from shop.dampers.models import CapStyle, Construction
from shop.specs.models import Pressure, Procedure
from shop.specs.procedures import in_words
from shop.web.forms import Form, KeyedForm, text_field


class ProcedureForm(KeyedForm):
    name = forms.CharField(max_length=80, help_text="Such as Seal service.")
    copy_of = forms.ModelChoiceField(
        Procedure.objects.exclude(made_current_at=None),
        label="Begin with the steps of",
        empty_label="no other: begin empty",
        required=False,
    )


class StepForm(KeyedForm):
    """A step of a draft; cleans to what add_step and change_step take."""

    AS_LEFT = "as_left"

    stage = forms.CharField(max_length=40, widget=forms.TextInput({"list": "stages"}))
    title = forms.CharField(max_length=120, help_text="As it stands on the card and in the list of steps.")
    text = text_field(1000, rows=4, label="What to do", required=False)
    caution = text_field(
        600, required=False, help_text="The first sentence names the danger. A critical step needs one."
    )
    tool = forms.CharField(
        max_length=120,
        label="Tools, in words",
        required=False,
        help_text="The tool under calibration that a figure is read with is added by itself.",
    )
    records = forms.ChoiceField(
        label="What is recorded here",
        choices=[("", "nothing"), *((one.value, one.label) for one in SPECIFIED), (AS_LEFT, "Settings as left")],
        required=False,
    )
    pressure = forms.ChoiceField(
        label="Stored gas", choices=[("", "nothing to do with it"), *Pressure.choices], required=False
    )
    critical = forms.BooleanField(label="Critical: a second person checks it", required=False)
    constructions = forms.MultipleChoiceField(
        label="Only for these dampers",
        choices=Construction.choices,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="None ticked: for all.",
    )
    cap_styles = forms.MultipleChoiceField(
        label="Only for a cap that is",
        choices=CapStyle.choices,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="None ticked: for all. Where nobody knows the cap, the technician decides.",
    )

    def clean(self):
        data = super().clean()
        records = data.pop("records", "")
        return data | {"reading": "" if records == self.AS_LEFT else records, "as_left": records == self.AS_LEFT}

    def add_error(self, field, error):
        super().add_error("records" if field in ("reading", "as_left") else field, error)


class StepNewForm(StepForm):
    """With its place among the others."""

    def __init__(self, *args, last, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["number"] = forms.IntegerField(
            label="Place",
            min_value=1,
            max_value=last,
            initial=last,
            widget=forms.TextInput({"inputmode": "numeric"}),
            help_text=f"1 to {last}; those behind it move on.",
        )
        self.order_fields(["request_key", "number"])


class StepChangeForm(StepForm):
    """With the edition of the step that was read: who was second sees what the first one wrote."""

    edition = forms.IntegerField(widget=forms.HiddenInput)
    now = ()

    @staticmethod
    def filled_from(step):
        names = ("stage", "title", "text", "caution", "tool", "pressure", "critical", "constructions", "cap_styles")
        records = StepForm.AS_LEFT if step.as_left else step.reading
        return {name: getattr(step, name) for name in (*names, "edition")} | {"records": records}

    def refuse(self, sentence) -> None:
        """There is nothing left that this could change."""
        self.status = 409
        self.is_valid()
        self.add_error(None, sentence)

    def catch_up(self, step) -> None:
        """After a conflict: take the step's present edition; .now tells what it says."""
        self.data = self.data.copy()
        self.data["edition"] = step.edition
        self.now = [(label, text) for label, text in in_words(step).items() if text]


class MoveForm(Form):
    """Without a key: the same place again does no harm."""

    number = forms.IntegerField(min_value=1)


class MakeCurrentForm(KeyedForm):
    why = text_field(300, rows=2, label="Why the shop works by it from now on")
    read = forms.BooleanField(
        label="I have read every step of this version, with its caution.",
        error_messages={"required": "Read every step first, then tick this."},
    )
    edition = forms.IntegerField(widget=forms.HiddenInput)
    instead_of = forms.ModelChoiceField(Procedure.objects.all(), required=False, widget=forms.HiddenInput)

    def clean(self):
        data = super().clean()
        return {name: value for name, value in data.items() if name != "read"}

    def read_again(self, procedure, current) -> None:
        """After a conflict: take what there is now; the tick is to be set anew."""
        self.data = self.data.copy()
        self.data.pop("read", None)
        self.data["edition"], self.data["instead_of"] = procedure.edition, current.pk if current else ""
