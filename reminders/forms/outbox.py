"""Which messages to look at: every field may be left out, and what makes no sense is said and not used."""

from collections.abc import Iterable
from datetime import date

from django import forms

from clinic.models.people import Channel


class FilterForm(forms.Form):
    """The filters of the messages page, read from its address. states and kinds: (key, words) pairs to choose from."""

    state = forms.ChoiceField(label="State", required=False)
    kind = forms.ChoiceField(label="About", required=False)
    channel = forms.ChoiceField(label="Sent as", required=False, choices=[("", "any"), *Channel.choices])
    patient = forms.CharField(label="Patient", required=False, max_length=80, strip=True)
    day = forms.DateField(
        label="Day", required=False, widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        input_formats=["%Y-%m-%d"], error_messages={"invalid": "Choose a day, or write it as in 2027-03-10."},
    )  # fmt: skip

    def __init__(self, data: object, *, states: Iterable[tuple[str, str]], kinds: Iterable[tuple[str, str]]) -> None:
        super().__init__(data)  # type: ignore[arg-type]  # a QueryDict is a mapping
        for name, choices in (("state", states), ("kind", kinds)):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)  # noqa: S101  # declared above
            field.choices = [("", "any"), *choices]

    def chosen(self) -> dict[str, str | date]:
        """The filters that make sense and are not empty, by name."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}
