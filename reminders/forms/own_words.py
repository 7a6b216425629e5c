"""The clinic's own words for the sentences of one message, each refused beside its field."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.forms.fields import NameField, sentence
from clinic.rules.text import UnusableTextError
from clinic.rules.tongue import Tongue
from reminders.rules.own_words import Slot, needed_in, one_line, wrong_with

LETTERS_PER_ROW = 40
TWO = 2


class WordsField(forms.CharField):
    """One sentence, kept as one line; what is wrong with it is said in words."""

    def __init__(self, slot: Slot, tongue: Tongue, **kwargs: Any) -> None:
        self.slot = slot
        rows = 1 + len(slot.words) // LETTERS_PER_ROW
        attrs = {"rows": rows, "lang": tongue.key, "dir": tongue.direction, "autocomplete": "off"}
        super().__init__(required=False, strip=False, widget=forms.Textarea(attrs), **kwargs)

    def to_python(self, value: Any) -> str:
        text = str(value or "")
        if "\x00" in text:
            raise ValidationError("Null characters are not allowed.")
        try:
            words = one_line(text)
        except UnusableTextError as unusable:
            raise ValidationError(sentence(str(unusable))) from unusable
        wrong = wrong_with(self.slot.text, words)
        if wrong:
            raise ValidationError(list(wrong))
        return words


class WordsForm(forms.Form):
    """A field for each sentence that may be changed, and who read the new words. version: what it is based on."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    patient = forms.IntegerField(widget=forms.HiddenInput, required=False)
    who = forms.CharField(label="A patient of yours, by name", required=False, max_length=200)
    reader = NameField(label="Name of the clinician who read the new words", required=False)
    fluent = forms.BooleanField(
        label="This clinician is licensed, fluent in the language, and has read these words", required=False
    )

    def __init__(self, *args: Any, slots: Iterable[Slot], tongue: Tongue, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.slots = [slot for slot in slots if not slot.text.locked]
        self.names = {slot.key: field_name(slot.key) for slot in self.slots}
        for place, slot in enumerate(self.slots, start=1):
            self.fields[self.names[slot.key]] = WordsField(
                slot, tongue, label=f"{place} · {label_of(slot)}", help_text=_hint(slot), initial=slot.words
            )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("reader") and not data.get("fluent"):
            self.add_error("fluent", "Tick this only where it is true; otherwise have somebody else read the words.")
        return data

    def typed(self) -> dict[str, str]:
        """The words of each sound sentence, by key."""
        return {key: self.cleaned_data[name] for key, name in self.names.items() if name in self.cleaned_data}

    def refuse(self, reasons: Mapping[str, str]) -> None:
        """Put each reason beside its sentence, or above all where it has none."""
        for key, reason in reasons.items():
            self.add_error(self.names.get(key), reason)


def field_name(key: str) -> str:
    """The name of a sentence's field: what may stand in an address and in an id."""
    return key.replace(".", "-").replace("#", "-")


def label_of(slot: Slot) -> str:
    """When it is said: "Where the patient takes it off, of several"."""
    when = slot.text.when[:1].upper() + slot.text.when[1:]
    if slot.highest == 1:
        return when
    many = "of several" if slot.highest == TWO else "of two"
    number = {1: "of one", TWO: many}.get(slot.number, f"of {slot.number} and more")
    return f"{when} ({number})"


def _hint(slot: Slot) -> str:
    needed = ", ".join(f"{{{one.name}}}" for one in needed_in(slot.text))
    return f"Has to keep {needed}." if needed else ""
