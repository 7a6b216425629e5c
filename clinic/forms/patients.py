"""The forms about a patient's person and their helpers."""

from datetime import date
from typing import Any
from zoneinfo import available_timezones

from django import forms

from clinic.forms.fields import BirthField, EmailLineField, LineField, NameField, PhoneField, YesNoField, date_order
from clinic.models import Clinic, Helper, Patient
from clinic.models.people import Channel, Language
from clinic.rules.ages import is_minor
from clinic.services.phone_numbers import Phone


class ContactForm(forms.Form):
    """Name, telephone, e-mail and the way that suits best: shared by patients and helpers.

    The way chosen must be one by which the person can be reached, where anything is sent to them at all.
    """

    full_name = NameField(
        label="Full name", error_messages={"required": "Write the full name."}, help_text="As on their papers."
    )
    call_me = LineField(
        label="What should we call them?", help_text="Messages greet them so.", longest=80, required=False
    )
    email = EmailLineField(label="E-mail", required=False)
    prefers = forms.ChoiceField(
        label="Reminders go by",
        choices=Channel.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose how reminders go."},
    )
    language = forms.ChoiceField(label="Language of the reminders", choices=Language.choices)

    field_order: Any = ["full_name", "call_me", "phone", "email", "prefers", "language"]
    not_stored = frozenset({"version", "alike_seen"})

    def __init__(self, *args: Any, clinic: Clinic, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["phone"] = PhoneField(
            label="Telephone",
            required=False,
            country=clinic.country,
            help_text="A mobile number where text messages are wanted. Numbers from abroad begin with +.",
        )
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        phone: Phone | None = cleaned.get("phone")
        if phone is not None and phone.extension:
            self.add_error(
                "phone",
                "Only a direct number can be reached: leave the extension out and write it into the note.",
            )
        if self.is_written_to(cleaned):
            self._check_way(cleaned, phone)
        return cleaned

    def is_written_to(self, cleaned: dict[str, Any]) -> bool:
        """Whether reminders go to this very person, as far as the answers say."""
        return True

    def _check_way(self, cleaned: dict[str, Any], phone: Phone | None) -> None:
        if cleaned.get("prefers") == Channel.SMS and "phone" not in self.errors:
            self._check_texts(phone)
        if cleaned.get("prefers") == Channel.EMAIL and "email" not in self.errors and not cleaned.get("email"):
            self.add_error("email", "Reminders by e-mail need an e-mail address.")

    def _check_texts(self, phone: Phone | None) -> None:
        if phone is None:
            self.add_error("phone", "Reminders by text message need a mobile number.")
        elif not phone.gets_texts:
            self.add_error(
                "phone",
                "This cannot be a mobile number, so text messages do not reach it. "
                "Give a mobile number, or choose e-mail for the reminders.",
            )

    def values(self) -> dict[str, Any]:
        """The cleaned values under the names of the model's fields."""
        values = dict(self.cleaned_data)
        phone: Phone | None = values["phone"]
        values["phone"] = phone.number if phone else ""
        return {name: value for name, value in values.items() if name not in self.not_stored}


class PatientForm(ContactForm):
    """A patient's contact details. today: the clinic's date, the latest possible birth.

    helped: a helper gets the messages. A child has often no telephone, and somebody who wants no reminders
    need not be reachable for them.
    """

    may_leave_message = forms.BooleanField(
        label="A message may be left, on the machine or with whoever answers", required=False
    )
    interpreter = LineField(
        label="Interpreter", required=False, help_text="Who interprets, and how to reach them, where one is needed."
    )
    time_zone = LineField(
        label="Time zone, where it is not the clinic's",
        longest=64,
        required=False,
        help_text="Such as America/Chicago. Reminders then keep quiet hours there.",
    )
    consents = YesNoField(
        label="Have they agreed to be reminded?",
        help_text="Stored with today's date and your name. Without it nothing is sent. "
        "If a helper of a grown-up gets them: answer No, add the helper, then record the agreement.",
        error_messages={"required": "Say whether they agreed to reminders."},
    )
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3, "dir": "auto"})
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)
    alike_seen = forms.CharField(required=False, widget=forms.HiddenInput)

    field_order = [
        "full_name", "call_me", "born", "phone", "email", "prefers", "consents", "may_leave_message",
        "language", "interpreter", "time_zone", "note", "version", "alike_seen",
    ]  # fmt: skip

    def __init__(self, *args: Any, clinic: Clinic, today: date, helped: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, clinic=clinic, **kwargs)
        self.today, self.helped = today, helped
        self.fields["born"] = BirthField(
            label="Date of birth",
            order=date_order(clinic.country),
            today=today,
            required=False,
            widget=forms.TextInput(attrs={"autocomplete": "off", "dir": "ltr"}),
        )
        self.order_fields(self.field_order)

    def is_written_to(self, cleaned: dict[str, Any]) -> bool:
        born: date | None = cleaned.get("born")
        child = born is not None and is_minor(born, self.today)
        return not (self.helped or child or cleaned.get("consents") is False)

    def clean_time_zone(self) -> str:
        zone = str(self.cleaned_data["time_zone"])
        if zone and zone not in available_timezones():
            raise forms.ValidationError("No such time zone. Write it like America/Chicago, or leave it empty.")
        return zone


class HelperForm(ContactForm):
    """A named adult who gets the messages for a patient, takes the tape off, or both."""

    relation = forms.ChoiceField(
        label="Who is it?",
        choices=Helper.Relation.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Say who it is."},
    )
    gets_messages = forms.BooleanField(
        label="Gets the messages instead of the patient", required=False, help_text="One helper at most."
    )
    takes_tape_off = forms.BooleanField(
        label="Takes the tape off",
        required=False,
        help_text="Can see, reach and feel the tape, and has been shown how.",
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    field_order = [
        "relation", "full_name", "call_me", "phone", "email", "prefers", "language", "gets_messages", "takes_tape_off",
        "version",
    ]  # fmt: skip

    def is_written_to(self, cleaned: dict[str, Any]) -> bool:
        return bool(cleaned.get("gets_messages"))


def initial_of(person: Patient | Helper, form: type[ContactForm]) -> dict[str, Any]:
    """What a form about a stored person begins with."""
    names = [name for name in form.field_order if hasattr(person, name)]
    return {name: getattr(person, name) for name in names}
