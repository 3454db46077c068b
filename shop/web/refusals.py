"""What a form says instead of the framework: what is wrong, what is allowed, what to do."""

from django import forms

NUL = "There is a hidden character in this, most likely copied along with it. Type it by hand."
OTHER_CHOICE = "This is none of the choices, or not any more. Choose one of the list."
LIST = {"required": "Nothing is chosen here. Choose one of the list.", "invalid_choice": OTHER_CHOICE}
ROWS = LIST | {"invalid_pk_value": OTHER_CHOICE, "invalid_list": OTHER_CHOICE}

# By kind of field; of several that fit, the later one counts.
SAYS = [
    (
        forms.Field,
        {
            "required": "Nothing is typed here. Fill it in.",
            "null_characters_not_allowed": NUL,
            "max_length": "This has %(show_value)d characters; the book takes at most %(limit_value)d characters. "
            "Shorten it.",
        },
    ),
    (forms.EmailField, {"invalid": "“%(value)s” is no e-mail address. Write it like name@example.com."}),
    (forms.DateField, {"required": "No day is given. Choose one, or write it like 2026-11-25."}),
    (forms.BooleanField, {"required": "Tick this first."}),
    (forms.ChoiceField, LIST),
    (forms.ModelChoiceField, ROWS),
    (forms.ModelMultipleChoiceField, ROWS),
]


class InOurWords:
    """A form whose refusals are ours; what a field was told to say itself stands."""

    def full_clean(self):
        for field in self.fields.values():
            _speak(field)
        super().full_clean()


def _speak(field) -> None:
    ours = {}
    for kind, says in SAYS:
        if isinstance(field, kind):
            ours |= says
    if isinstance(field, forms.IntegerField):
        ours |= _of_numbers(field)
    theirs = {}
    for kind in reversed(type(field).__mro__):
        if kind.__module__.startswith("django."):
            theirs |= kind.__dict__.get("default_error_messages", {})
    for code, sentence in ours.items():
        if field.error_messages.get(code) == theirs.get(code):
            field.error_messages[code] = sentence


def _of_numbers(field) -> dict[str, str]:
    """IntegerField and what descends from it; a field of whole numbers says so."""
    low, high = field.min_value, field.max_value
    kind = "a number" if isinstance(field, forms.DecimalField) else "a whole number"
    if low is not None and high is not None:
        allowed = f"Give {kind} from {low} to {high}."
    elif low is not None:
        allowed = f"Give {kind}, {low} or more."
    else:
        allowed = f"Give {kind}."
    return {
        "required": f"Nothing is typed here. {allowed}",
        "invalid": f"This is not {kind}. {allowed}",
        "min_value": f"%(show_value)s is too little. {allowed}",
        "max_value": f"%(show_value)s is too much. {allowed}",
        "max_digits": f"This has more than %(max)s figures. {allowed}",
        "max_whole_digits": f"This has more than %(max)s figures before the point. {allowed}",
        "max_decimal_places": f"This has more than %(max)s figures behind the point. {allowed}",
    }
