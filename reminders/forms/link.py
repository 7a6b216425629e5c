"""What a patient reports about the skin."""

from typing import Any

from django import forms

from taping.rules.report_signs import SIGNS
from taping.services.reports import MOST_WORDS


class SkinForm(forms.Form):
    """Signs in plain words, the most urgent first, and the patient's own words; one of the two is needed."""

    signs = forms.MultipleChoiceField(
        choices=[(sign.key, sign.words) for sign in SIGNS],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "Please tick from this list."},
    )
    words = forms.CharField(
        required=False,
        max_length=MOST_WORDS,
        widget=forms.Textarea(attrs={"rows": 4, "dir": "auto"}),
        error_messages={"max_length": "That is longer than 2,000 letters. Please shorten it, or call us."},
    )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if not self.errors and not cleaned.get("signs") and not cleaned.get("words"):
            self.add_error("signs", "Tick what you notice, or write it in your own words below.")
        return cleaned
