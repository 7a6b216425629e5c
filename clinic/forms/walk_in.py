"""Somebody who comes without a visit: as little as tells them from others."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from clinic.forms.fields import BirthField, NameField, PhoneField, date_order
from clinic.models import Clinic, User
from clinic.services.phone_numbers import Phone


class WalkInForm(forms.Form):
    """Name, date of birth, a telephone where there is one, and who sees them. today: the clinic's date."""

    full_name = NameField(label="Full name", error_messages={"required": "Write the full name."})
    alike_seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, clinic: Clinic, today: date, staff: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.staff = staff
        self.fields["born"] = BirthField(
            label="Date of birth",
            order=date_order(clinic.country),
            today=today,
            widget=forms.TextInput(attrs={"autocomplete": "off", "dir": "ltr"}),
            error_messages={"required": "Write the date of birth."},
        )
        self.fields["phone"] = PhoneField(label="Telephone", required=False, country=clinic.country)
        self.fields["therapist"] = forms.ChoiceField(
            label="Who sees them?",
            choices=[("", "choose"), *((str(one.pk), one.full_name) for one in staff)],
            error_messages={"required": "Choose the therapist."},
        )
        self.order_fields(["full_name", "born", "phone", "therapist", "alike_seen"])

    def therapist(self) -> User:
        """Who was chosen, from a valid form."""
        return next(one for one in self.staff if str(one.pk) == self.cleaned_data["therapist"])

    def person(self) -> dict[str, Any]:
        """The new patient's values, by the names of the model's fields; reminders are asked about later."""
        phone: Phone | None = self.cleaned_data["phone"]
        number = phone.number if phone is not None and not phone.extension else ""
        return {"full_name": self.cleaned_data["full_name"], "born": self.cleaned_data["born"], "phone": number}
