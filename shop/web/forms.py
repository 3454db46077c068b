"""What every form of the site shares: the bridge to the domain, and fields for quantities."""

import uuid

import structlog
from django import forms
from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.forms.renderers import TemplatesSetting
from django.utils import timezone

from shop.core.errors import Conflict
from shop.core.services import once

log = structlog.get_logger(__name__)


class PageRenderer(TemplatesSetting):
    form_template_name = "django/forms/div.html"
    field_template_name = "django/forms/field.html"


class KeyedForm(forms.Form):
    """A form whose page carries a key, so that sending it twice writes once."""

    request_key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["request_key"].initial = uuid.uuid4().hex


def submit(form, service, **kwargs):
    """Call service with the form's data, once per key. None: show the form again, with what was typed and the errors.

    form.status is the HTTP status for showing it again: 409 when somebody else was first, else 422.
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
            content=data | {name: value for name, value in kwargs.items() if name != "at"},
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
        log.warning("lost_race", service=service.__name__, error=str(error))
        form.status = 409
        form.add_error(
            None, "Somebody else has saved the same at this moment. Look at the present state, then try again."
        )
        return None
