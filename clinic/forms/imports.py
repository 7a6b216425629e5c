"""The forms of a list of patients: the file, and how it is read."""

import codecs
from typing import Any

from django import forms

from clinic.models import PatientImport
from clinic.rules.ages import DateOrder
from clinic.rules.csv_form import Column, mapping_missing

ENCODINGS = {
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "cp1252": "Windows, western Europe and America (1252)",
    "cp1250": "Windows, central Europe (1250)",
    "cp1256": "Windows, Arabic (1256)",
    "mac-roman": "older Macintosh",
}
DELIMITERS = {",": "comma  ,", ";": "semicolon  ;", "\t": "tab", "|": "bar  |"}
ORDERS = {
    "": "as the dates themselves tell it",
    DateOrder.DMY: "day, month, year",
    DateOrder.MDY: "month, day, year",
    DateOrder.YMD: "year first",
}
COLUMNS = {
    Column.NAME: "Full name",
    Column.GIVEN: "Given name, where it stands apart",
    Column.FAMILY: "Family name, where it stands apart",
    Column.CALL_ME: "What to call them",
    Column.BORN: "Date of birth",
    Column.PHONE: "Telephone",
    Column.EMAIL: "E-mail",
    Column.EXTERNAL_ID: "Number in your other system",
    Column.NOTE: "Note",
}


class ImportFileForm(forms.Form):
    """The file itself."""

    file = forms.FileField(
        label="The file",
        help_text="One line a person, with a first line that names the columns. "
        "Spreadsheets write it as “CSV”. At most 60 MB.",
        error_messages={"required": "Choose the file.", "empty": "This file is empty."},
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv,text/plain"}),
        max_length=1000,
    )


class ImportColumnsForm(forms.Form):
    """How the file is read. Every choice is shown with what was found; nothing is written by it."""

    codec = forms.ChoiceField(label="Encoding", help_text="Look at letters such as é or ł in the lines above.")
    delimiter = forms.ChoiceField(label="Columns are separated by", choices=DELIMITERS.items())
    order = forms.ChoiceField(label="Dates are written", choices=ORDERS.items(), required=False)

    def __init__(self, *args: Any, of: PatientImport, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.of = of
        own = _encoding_name(of.codec)
        found = {own: ENCODINGS.get(own, own)} | ENCODINGS
        self.fields["codec"].choices = list(found.items())  # type: ignore[attr-defined]
        self.fields["codec"].initial = own
        self.fields["delimiter"].initial = of.delimiter
        self.fields["order"].initial = of.date_order
        places = [("", "not in this file"), *((str(place), word) for place, word in enumerate(of.headings))]
        for column, label in COLUMNS.items():
            self.fields[f"column_{column}"] = forms.ChoiceField(
                label=label, choices=places, required=False, initial=str(of.mapping.get(column, ""))
            )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        same = cleaned.get("delimiter") == self.of.delimiter
        if same and not self.errors and (missing := mapping_missing(self.mapping() or {})):
            self.add_error(f"column_{Column.NAME}", missing)
        return cleaned

    def mapping(self) -> dict[Column, int] | None:
        """The columns chosen; None where another separator makes the positions meaningless."""
        if self.cleaned_data.get("delimiter") != self.of.delimiter:
            return None
        chosen = {column: self.cleaned_data.get(f"column_{column}", "") for column in COLUMNS}
        return {column: int(place) for column, place in chosen.items() if place}

    def order_chosen(self) -> DateOrder | None:
        word = self.cleaned_data["order"]
        return DateOrder(word) if word else None


def _encoding_name(codec: str) -> str:
    return "utf-8" if codecs.lookup(codec).name in {"utf-8", "utf-8-sig"} else codec
