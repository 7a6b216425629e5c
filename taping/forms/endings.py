"""How a tape ended, as a form."""

from datetime import UTC, datetime
from typing import Any

from django import forms

from taping.models import Application
from taping.rules.report import SIGNS
from taping.services.reports import MOST_WORDS

BY_WORDS = [
    ("patient", "the patient"),
    ("helper", "a helper"),
    ("therapist", "a therapist here"),
    ("other", "somebody else"),
]


class EndForm(forms.Form):
    """How, when and by whom the tape came off, and how the skin is."""

    how = forms.ChoiceField(
        label="How did it end?",
        choices=Application.Ending.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say how it ended."},
    )
    ended_at = forms.DateTimeField(
        label="It came off at",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="Leave empty for now.",
        error_messages={"invalid": "Write the day and time like 2027-03-15 14:05."},
    )
    by = forms.ChoiceField(
        label="Who took it off?",
        choices=BY_WORDS,
        widget=forms.RadioSelect,
        error_messages={"required": "Say who took it off."},
    )
    note = forms.CharField(
        label="How it went: skin, hair, residue",
        required=False,
        max_length=MOST_WORDS,
        widget=forms.Textarea(attrs={"rows": 3, "dir": "auto"}),
    )
    signs = forms.MultipleChoiceField(
        label="What is seen or felt on the skin?",
        choices=[(sign.key, sign.staff_words) for sign in SIGNS],
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Anything ticked opens a skin report; its advice follows at once.",
    )

    def __init__(self, *args: Any, now: datetime, **kwargs: Any) -> None:
        self.now = now
        super().__init__(*args, **kwargs)

    def clean_ended_at(self) -> datetime:
        # Django reads the time in the page's zone, and refuses one that clocks there skip or show twice.
        typed: datetime | None = self.cleaned_data["ended_at"]
        return self.now if typed is None else typed.astimezone(UTC)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("how") == Application.Ending.SKIN and not cleaned.get("signs") and "signs" not in self.errors:
            self.add_error("signs", "It came off for the skin: tick what is seen or felt.")
        return cleaned
