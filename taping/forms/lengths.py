"""Lengths as therapists type them."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.forms.fields import sentence
from taping.rules.lengths import Unit, UnreadableLengthError, format_length, parse_length

LONGEST_MM = 2000.0
"""Longer than any path for tape on a body; a slip of the unit is the likelier reading."""


class LengthField(forms.CharField):
    """A length in the clinic's unit, or with another one written behind it; gives millimetres, None where empty."""

    def __init__(self, *, unit: Unit, **kwargs: Any) -> None:
        self.unit = unit
        attrs = {"autocomplete": "off", "dir": "ltr", "inputmode": "text" if unit is Unit.INCH else "decimal"}
        kwargs.setdefault("widget", forms.TextInput(attrs=attrs))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> float | None:
        text = str(super().clean(value))
        if not text:
            return None
        try:
            length = parse_length(text, self.unit)
        except UnreadableLengthError as unreadable:
            raise ValidationError(sentence(str(unreadable))) from unreadable
        if length > LONGEST_MM:
            longest = format_length(LONGEST_MM, self.unit)
            raise ValidationError(f"That is longer than any tape on a body. Check the unit; {longest} is the most.")
        return length

    def prepare_value(self, value: Any) -> Any:
        return format_length(value, self.unit) if isinstance(value, float) else value
