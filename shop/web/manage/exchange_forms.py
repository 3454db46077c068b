from django import forms

from shop.exchange.files.store import Upload
from shop.web.forms import KeyedForm


class TableForm(KeyedForm):
    """A file with a table in it; cleans to what receive_file takes."""

    file = forms.FileField(
        widget=forms.ClearableFileInput({"accept": ".csv,.xlsx,.txt"}),
        help_text="CSV or XLSX, at most 10 MB and 20 000 rows.",
        error_messages={
            "required": "No file is chosen. Choose one first.",
            "empty": "This file is empty. The first line names the columns.",
            "max_length": "The name of this file is too long. Give it a shorter one.",
        },
        max_length=200,
    )

    def clean_file(self):
        file = self.cleaned_data["file"]
        return Upload(file.name, file.read())
