"""Form fields that keep what people write as the rules say, and explain what they cannot keep."""

import unicodedata
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.rules.ages import DateOrder, UnreadableDateError, parse_date
from clinic.rules.mail_address import UnusableAddress, wire_address
from clinic.rules.text import LONGEST_NAME, UnusableTextError, normalise_line, normalise_name
from clinic.services.phone_numbers import Phone, UnusablePhone, phone_read

# Countries in which dates are written with the month first; everywhere else the day comes first (Unicode CLDR 46).
MONTH_FIRST = frozenset({"US", "PH", "FM", "MH", "PW", "GU", "AS", "MP", "PR", "VI", "UM"})
_ORDER_WORDS = {DateOrder.DMY: "Day/month/year", DateOrder.MDY: "Month/day/year"}
_ORDER_EXAMPLE = {DateOrder.DMY: "03/04/1985", DateOrder.MDY: "04/03/1985"}


def date_order(country: str) -> DateOrder:
    """The order in which staff in country (ISO 3166 letters) write a date."""
    return DateOrder.MDY if country in MONTH_FIRST else DateOrder.DMY


def sentence(text: str) -> str:
    """A rule's reason as a sentence of its own."""
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"


class LineField(forms.CharField):
    """One line, composed, without what cannot be seen. longest: in characters."""

    def __init__(self, *, longest: int = LONGEST_NAME, **kwargs: Any) -> None:
        self.longest = longest
        super().__init__(strip=False, **kwargs)

    def to_python(self, value: Any) -> str:
        text = str(value or "")
        if "\x00" in text:
            raise ValidationError("Null characters are not allowed.")
        try:
            return self.kept(text)
        except UnusableTextError as unusable:
            raise ValidationError(sentence(str(unusable))) from unusable

    def kept(self, text: str) -> str:
        return normalise_line(text, longest=self.longest)


class NameField(LineField):
    """A person's name: any name is a name. Empty stays empty, so that "required" says what is missing."""

    def kept(self, text: str) -> str:
        return normalise_name(text, longest=self.longest) if normalise_line(text, longest=10_000) else ""


class BirthField(forms.CharField):
    """A date of birth typed in the order of the clinic's country, or year first; gives a date or None."""

    def __init__(self, *, order: DateOrder, today: date, **kwargs: Any) -> None:
        self.order, self.today = order, today
        kwargs.setdefault(
            "help_text",
            f"{_ORDER_WORDS[order]}: for 3 April 1985 write {_ORDER_EXAMPLE[order]} or 1985-04-03.",
        )
        super().__init__(**kwargs)

    def clean(self, value: Any) -> date | None:
        text = str(super().clean(value))
        if not text:
            return None
        try:
            return parse_date(text, self.order, latest=self.today)
        except UnreadableDateError as unreadable:
            raise ValidationError(sentence(str(unreadable))) from unreadable

    def prepare_value(self, value: Any) -> Any:
        # Year first is read the same in every order, so an untouched field saves the same day.
        return value.isoformat() if isinstance(value, date) else value


class PhoneField(forms.CharField):
    """A telephone number of any country; gives a Phone, or None where nothing was written."""

    def __init__(self, *, country: str, **kwargs: Any) -> None:
        self.country = country
        kwargs.setdefault("widget", forms.TextInput(attrs={"type": "tel", "dir": "ltr", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Phone | None:
        text = str(super().clean(value))
        if not text:
            return None
        try:
            return phone_read(text, self.country)
        except UnusablePhone as unusable:
            raise ValidationError(str(unusable)) from unusable


class EmailLineField(forms.EmailField):
    """An e-mail address; one that holds a character nobody can see, or would lead to a stranger, is refused."""

    default_error_messages = {"invalid": "Write the e-mail address like name@example.org."}

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.EmailInput(attrs={"dir": "ltr", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> str:
        text = str(super().to_python(value))
        if any(unicodedata.category(character) == "Cf" for character in text):
            raise ValidationError("The address holds a character that cannot be seen. Type it again by hand.")
        return text

    def clean(self, value: Any) -> str:
        text = str(super().clean(value))
        try:
            if text:
                wire_address(text)
        except UnusableAddress as unusable:
            raise ValidationError(str(unusable)) from unusable
        return text


class YesNoField(forms.TypedChoiceField):
    """Two large answers, neither chosen beforehand; gives a bool."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            choices=[("yes", "Yes"), ("no", "No")],
            coerce=lambda word: word == "yes",
            widget=forms.RadioSelect,
            **kwargs,
        )

    def prepare_value(self, value: Any) -> Any:
        return {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value


class VersionField(forms.IntegerField):
    """Which version of a record a page was made from. Nobody types it: where it is unreadable the page is damaged."""

    widget = forms.HiddenInput
    default_error_messages = {
        "required": "This page is damaged. Open it again before you save; what you typed stands here still.",
        "invalid": "This page is damaged. Open it again before you save; what you typed stands here still.",
    }
