"""The periods of keeping."""

from django import forms

from clinic.rules.retention import BOUNDS

LABELS = {
    "keep_records_years": ("Records of patients, after the last contact", "years"),
    "keep_messages_months": ("Words and addresses of messages that went", "months"),
    "keep_events_years": ("The event log", "years"),
}


class KeepingForm(forms.Form):
    """Each period within its limits; 0 keeps until somebody decides."""

    keep_records_years = forms.IntegerField()
    keep_messages_months = forms.IntegerField()
    keep_events_years = forms.IntegerField()

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        for name, field in self.fields.items():
            label, unit = LABELS[name]
            least, greatest = BOUNDS[name]
            words = f"From {least} to {greatest} {unit}, or 0 to keep them until you decide."
            field.label, field.help_text = f"{label}, {unit}", words
            wrong = f"{label}: write 0, or a whole number from {least} to {greatest}."
            field.error_messages.update(dict.fromkeys(("required", "invalid"), wrong))

    def clean(self) -> dict[str, int]:
        cleaned: dict[str, int] = super().clean() or self.cleaned_data
        for name, value in list(cleaned.items()):
            least, greatest = BOUNDS[name]
            if value != 0 and not least <= value <= greatest:
                self.add_error(name, self.fields[name].error_messages["invalid"])
        return cleaned
