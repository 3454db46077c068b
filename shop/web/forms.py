"""What the forms of all faces share: the bridge to the domain, and fields and forms that more than one has."""

import uuid

import structlog
from django import forms
from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.forms.renderers import TemplatesSetting
from django.utils import timezone

from shop.core.errors import LOST_RACE, Conflict, is_duplicate
from shop.core.services import once
from shop.customers.models import MODEL_YEARS
from shop.web.refusals import InOurWords

log = structlog.get_logger(__name__)


class PageRenderer(TemplatesSetting):
    form_template_name = "django/forms/div.html"
    field_template_name = "django/forms/field.html"


class Form(InOurWords, forms.Form):
    """What every form of ours begins with."""


class KeyedForm(Form):
    """A form whose page carries a key, so that sending it twice writes once."""

    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["request_key"].initial = uuid.uuid4().hex


class AskedForm(KeyedForm):
    """A form whose function may ask back: then a box to tick joins it."""

    sure = forms.BooleanField(label="It is right as I wrote it", required=False)

    def visible_fields(self):
        asked = self.is_bound and ("sure" in self.data or "sure" in self.errors)
        return [field for field in super().visible_fields() if asked or field.name != "sure"]


class VersionedForm(KeyedForm):
    """A form that changes a row with a version: who was second sees what the first one wrote."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    now = ()

    @classmethod
    def filled_from(cls, row) -> dict:
        """What the form begins with, by the names of its fields."""
        return {name: getattr(row, name) for name in cls.base_fields if hasattr(row, name)}

    def catch_up(self, row) -> None:
        """After a conflict: take the row's present version; .now tells what it says where something else is typed."""
        if self.status != 409:
            return
        row.refresh_from_db()
        self.data = self.data.copy()
        self.data[self.add_prefix("version")] = row.version
        there = {name: value for name, value in self.filled_from(row).items() if name != "version"}
        self.now = [
            (self[name].label, self._in_words(name, value))
            for name, value in there.items()
            if _as_sent(value) != self._sent(name)
        ]

    def _sent(self, name: str) -> str:
        """What was typed for a field; a box without a tick is not sent at all."""
        sent = self.data.get(self.add_prefix(name), "").strip()
        return _as_sent(bool(sent)) if isinstance(self.fields[name], forms.BooleanField) else sent

    def _in_words(self, name: str, value) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        choices = getattr(self.fields[name], "choices", None) if isinstance(value, str | int) else None
        return dict(choices or []).get(value, value) or "nothing"


def _as_sent(value) -> str:
    return "" if value is None else str(getattr(value, "pk", value))


class SureForm(Form):
    """Stands on a page that asks before a row goes: row is the name under which its key is sent."""

    sure = forms.CharField(initial="yes", widget=forms.HiddenInput)

    def __init__(self, *args, row, key, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields[row] = forms.CharField(initial=key, widget=forms.HiddenInput)


def text_field(max_length, rows=3, **kwargs):
    """Several lines of text over the whole width of the form."""
    field = forms.CharField(max_length=max_length, widget=forms.Textarea({"rows": rows}), **kwargs)
    field.wide = True
    return field


def year_field(label="Model year", **kwargs):
    first, last = MODEL_YEARS
    widget = forms.TextInput({"inputmode": "numeric"})
    allowed = f"Give a model year from {first} to {last}."
    messages = {
        "required": f"No model year is given. {allowed}",
        "invalid": f"This is no model year. {allowed}",
        "min_value": f"%(show_value)s cannot be right. {allowed}",
        "max_value": f"%(show_value)s cannot be right. {allowed}",
    }
    return forms.IntegerField(
        label=label, min_value=first, max_value=last, widget=widget, error_messages=messages, **kwargs
    )


class FindForm(Form):
    q = forms.CharField(max_length=100, required=False, widget=forms.TextInput({"type": "search"}))

    def __init__(self, *args, label="Name, phone, plate or frame number", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["q"].label = label

    @property
    def status(self) -> int:
        return 422 if self.errors else 200

    @property
    def text(self) -> str:
        return self.cleaned_data["q"] if self.is_valid() else ""


class NewPasswordForm(Form):
    """A password, typed twice. Without a key: the same one again does no harm, and no digest of it is kept."""

    password = forms.CharField(
        max_length=128,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        label="New password",
    )
    again = forms.CharField(
        max_length=128,
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        label="The same again",
    )

    def clean(self):
        data = super().clean()
        again = data.pop("again", None)
        if again is not None and "password" in data and again != data["password"]:
            raise ValidationError({"again": "The two passwords differ. Type both again."})
        return data


def submit(form, service, *, secret=(), **kwargs):
    """Call service with the form's data, once per key. None: show the form again, with what was typed and the errors.

    form.status is the HTTP status for showing it again: 409 when somebody else was first, else 422. Fields named in
    secret stay out of the digest that is kept to recognise a form that is sent twice.
    """
    form.status = 422
    if not form.is_valid():
        return None
    data = dict(form.cleaned_data)
    key = data.pop("request_key", "")
    by = kwargs.get("by")
    try:
        return once(
            scope=f"{service.__module__}.{service.__name__}:{by.pk if by else ''}",
            key=key,
            content={name: value for name, value in (data | kwargs).items() if name not in ("at", *secret)},
            at=kwargs.get("at") or timezone.now(),
            make=lambda: service(**data, **kwargs),
        )
    except ValidationError as error:
        form.status = 409 if isinstance(error, Conflict) else 422
        for name, errors in error.update_error_dict({}).items():
            form.add_error(name if name in form.fields else None, errors)  # add_error refuses unknown names
        return None
    except IntegrityError as error:
        # Two at the same moment, and a constraint let one in: the checks before it saw neither.
        if not is_duplicate(error):
            raise
        log.warning("lost_race", service=service.__name__, error=str(error))
        form.status = 409
        form.add_error(None, LOST_RACE)
        return None
