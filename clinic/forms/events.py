"""What is looked for in the event log."""

import re
from typing import Any

from django import forms

from clinic.forms.fields import LineField
from clinic.models import User
from clinic.rules.event_words import KINDS
from clinic.selectors import patients_find
from clinic.selectors.events import Wanted

MOST_NAMED = 200
_NUMBER = re.compile(r"#\s*(\d{1,18})")
WORDS = {
    "patient link": "The patient or a helper, by the link",
    "text message": "A text message",
    "engine": "The program by itself",
    "webhook": "A gateway or mail server",
    "command line": "The command line",
}


def _day(label: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages={"invalid": f"{label}: choose a day, such as 2027-03-10, or leave it empty."},
    )


class EventForm(forms.Form):
    """Every field may stay empty."""

    patient = LineField(
        label="Patient", required=False, longest=200, help_text="Any part of the name, or # and the number, as in #12."
    )
    who = forms.ChoiceField(label="Who", required=False, error_messages={"invalid_choice": "Choose from the list."})
    kind = forms.ChoiceField(label="What", required=False, error_messages={"invalid_choice": "Choose from the list."})
    first = _day("From")
    last = _day("Until, that day included")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        staff = [
            (f"u{pk}", name) for pk, name in User.objects.order_by("full_name", "id").values_list("pk", "full_name")
        ]
        self.fields["who"].choices = [("", "Everybody"), *staff, *WORDS.items()]  # type: ignore[attr-defined]
        kinds = [(key, words) for key, (words, _) in KINDS.items()]
        self.fields["kind"].choices = [("", "Everything"), *kinds]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and last and last < first:
            self.add_error("last", "The last day lies before the first. Choose a later one.")
        return cleaned

    def wanted(self) -> Wanted:
        """What a valid form asks for."""
        read = self.cleaned_data
        who = read["who"]
        actor: int | str | None = int(who[1:]) if re.fullmatch(r"u\d+", who) else who or None
        return Wanted(_patients(read["patient"]), actor, read["kind"], read["first"], read["last"])


def _patients(words: str) -> list[int] | None:
    if not words:
        return None
    number = _NUMBER.fullmatch(words)
    if number:
        return [int(number[1])]
    return list(patients_find(words).values_list("pk", flat=True)[:MOST_NAMED])
