"""What a patient reports about the skin."""

from collections.abc import Iterator
from typing import Any

from django import forms
from django.forms.boundfield import BoundWidget
from django.utils.safestring import SafeString, mark_safe

from clinic.rules.tongue import ENGLISH, Tongue
from taping.drawings.signs import sign_svg
from taping.rules.report_signs import SIGNS
from taping.services.reports import MOST_WORDS


class SkinForm(forms.Form):
    """Signs in plain words, the most urgent first, and the patient's own words; one of the two is needed."""

    signs = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)
    words = forms.CharField(
        required=False, max_length=MOST_WORDS, widget=forms.Textarea(attrs={"rows": 4, "dir": "auto"})
    )

    def __init__(self, *args: Any, tongue: Tongue = ENGLISH, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.tongue = tongue
        signs, words = self.fields["signs"], self.fields["words"]
        signs.choices = [(sign.key, tongue.say(sign.words)) for sign in SIGNS]  # type: ignore[attr-defined]
        signs.error_messages["invalid_choice"] = tongue.say("Please tick from this list.")
        too_long = tongue.say("That is longer than 2,000 letters. Please shorten it, or call us.")
        words.error_messages["max_length"] = too_long

    def signs_drawn(self) -> Iterator[tuple[BoundWidget, SafeString]]:
        """Each box with the drawing of its sign."""
        for box, sign in zip(self["signs"], SIGNS, strict=True):
            yield box, mark_safe(sign_svg(sign.picture))

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        if not self.errors and not cleaned.get("signs") and not cleaned.get("words"):
            self.add_error("signs", self.tongue.say("Tick what you notice, or write it in your own words below."))
        return cleaned
