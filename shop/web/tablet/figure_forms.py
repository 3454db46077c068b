"""The form of a bench calculator, made from its definition: what is asked, allowed and refused stands there alone."""

from django import forms

from shop.figures.asked import Choice, Day, Number, Quantity
from shop.figures.calculator import WHOLE, Refused

LONGEST = 200  # a query has to fit into an address


class AskedField(forms.Field):
    """One input of a calculator. Its text goes to the calculator as it was typed; .asked is the definition."""

    def __init__(self, asked):
        self.asked = asked
        super().__init__(
            label=asked.label,
            help_text=asked.help,
            required=False,  # the calculator says what is missing, in its own words
            initial=asked.own(asked.default_text()),
            widget=self._widget(asked),
            template_name="tablet/_figure_field.html",
        )

    @property
    def unit(self):
        return self.asked.unit

    @staticmethod
    def _widget(asked):
        attrs = {"autocomplete": "off", "maxlength": LONGEST, "placeholder": f"e.g. {asked.own(asked.example)}"}
        match asked:
            case Choice():
                return forms.Select(choices=asked.options)
            case Day():
                return forms.DateInput({"type": "date"})
            case Quantity() | Number():
                return forms.TextInput(attrs | {"inputmode": "decimal"})
        return forms.TextInput(attrs | {"autocapitalize": "characters", "spellcheck": "false"})


class FigureForm(forms.Form):
    """Works the answer out when it is cleaned: .answer, or None with the errors beside the fields.

    live: somebody is still typing, or about to, so required inputs that are empty are no errors yet; .waiting holds
    their labels.
    """

    answer = None
    waiting = ()

    def __init__(self, calculator, query=None, *, live=False, initial=None):
        self.calculator, self.live = calculator, live
        super().__init__(query and self._texts(query), initial=initial, use_required_attribute=False)
        for one in calculator.inputs:
            self.fields[one.name] = AskedField(one)

    def _texts(self, query):
        """What was typed; an input that the address does not name has its default, as on a fresh page."""
        return {one.name: query.get(one.name, one.own(one.default_text())) for one in self.calculator.inputs}

    def clean(self):
        try:
            self.answer = self.calculator.answer(self.calculator.read(self.data))
        except Refused as refused:
            early = refused.empty if self.live else frozenset()
            self.waiting = [one.label for one in self.calculator.inputs if one.name in early]
            for name, sentence in refused.errors.items():
                if name not in early:
                    self.add_error(None if name == WHOLE else name, sentence)
        return {}
