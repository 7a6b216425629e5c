"""Approving a language by name."""

from django import forms

from clinic.forms.fields import NameField
from clinic.models.people import Language


class ApproveForm(forms.Form):
    """Who read every text of a language, and that they are fluent in it."""

    language = forms.ChoiceField(choices=Language.choices, widget=forms.HiddenInput)
    name = NameField(
        label="Name of the clinician who read every text", error_messages={"required": "Write the clinician's name."}
    )
    fluent = forms.BooleanField(
        label="This clinician is licensed, fluent in the language, and has read every text of it",
        error_messages={"required": "Tick this only where it is true; otherwise leave the language off."},
    )
