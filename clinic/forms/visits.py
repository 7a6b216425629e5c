"""The forms of the diary."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.forms.fields import LineField
from clinic.models import Patient, User, Visit
from clinic.selectors import therapists

LENGTHS = (15, 30, 45, 60, 90)
DAY_WIDGET = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class InstantField(forms.CharField):
    """A moment as the page's own buttons send it: ISO 8601 with an offset; gives an aware datetime in UTC."""

    def clean(self, value: Any) -> datetime | None:
        text = str(super().clean(value))
        if not text:
            return None
        try:
            moment = datetime.fromisoformat(text)
        except ValueError as unreadable:
            raise ValidationError("Choose one of the times offered.") from unreadable
        if moment.tzinfo is None:
            raise ValidationError("Choose one of the times offered.")
        try:
            return moment.astimezone(UTC)
        except OverflowError as far:
            raise ValidationError("Choose one of the times offered.") from far


class WishForm(forms.Form):
    """What is looked for: whose time, for what, how long, from which day on."""

    therapist = forms.ModelChoiceField(label="With", queryset=User.objects.none(), empty_label=None)
    purpose = forms.ChoiceField(label="For", choices=Visit.Purpose.choices)
    minutes = forms.TypedChoiceField(
        label="How long", choices=[(length, f"{length} minutes") for length in LENGTHS], coerce=int
    )
    day = forms.DateField(label="From", required=False, widget=DAY_WIDGET, input_formats=["%Y-%m-%d"])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["therapist"]
        if isinstance(field, forms.ModelChoiceField):
            field.queryset = therapists()
            field.error_messages["invalid_choice"] = "Choose somebody who treats here."
            field.error_messages["required"] = "Choose with whom."


class BookForm(WishForm):
    """A time that was chosen, and for whom."""

    patient = forms.ModelChoiceField(queryset=Patient.objects.all(), widget=forms.HiddenInput)
    starts_at = InstantField(label="Time", error_messages={"required": "Choose one of the times."})
    note = LineField(label="Note", longest=300, required=False)

    def visit(self) -> Visit:
        """An unsaved visit with purpose, note and end."""
        start: datetime = self.cleaned_data["starts_at"]
        return Visit(
            purpose=self.cleaned_data["purpose"],
            note=self.cleaned_data["note"],
            ends_at=start + timedelta(minutes=self.cleaned_data["minutes"]),
        )
