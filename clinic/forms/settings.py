"""The forms of the clinic's settings."""

import re
from datetime import date, time
from typing import Any, Self, cast
from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError

from clinic.forms.fields import EmailLineField, LineField
from clinic.models import Clinic
from clinic.selectors.openings import regions_of
from clinic.services.clinic import Spans, hours_seal

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
# least, greatest; the same limits as the database's and those of the rules for time
BOUNDS = {
    "adhesion_minutes": (20, 120),
    "water_minutes": (20, 240),
    "wear_first_day": (1, 7),
    "wear_last_day": (1, 7),
    "skin_rest_hours": (1, 168),
}
# where each number and its limits come from, in the words of the rules for time, of which this layer knows nothing
SOURCES = {
    "adhesion_minutes": (
        "a Japanese clinic's page: about 20 minutes to bed in; an extensibility study's text: best at 24.2 "
        "minutes, tape left over 30; practitioners' pages: 30 to 60 minutes. Upper limit: common practice, no "
        "source"
    ),
    "water_minutes": (
        "two practitioners' pages: at least an hour before sweating, swimming or showering. Upper limit: "
        "common practice, no source"
    ),
    "wear_first_day": (
        "a family-practice handbook and several pages: change every 3 to 5 days; others: 3 to 7 days. The "
        "choice of day 4: common practice, no source"
    ),
    "wear_last_day": ("a family-practice handbook and several pages: change every 3 to 5 days; others: up to 7 days"),
    "skin_rest_hours": ("two practitioners' pages: often one full day. Limits: common practice, no source"),
}
OPTIONAL = (("exercise_ok", "“You may exercise again”"), ("removal_eve", "“Tomorrow the tape comes off”"))
LONGEST_ABSENCE = 366  # days
_SPAN = re.compile(r"(\d{1,2})[:.](\d{2})\s*(?:-|–|to)\s*(\d{1,2})[:.](\d{2})")


def _number(name: str, label: str, unit: str) -> forms.IntegerField:
    least, greatest = BOUNDS[name]
    limits = f"From {least} to {greatest} {unit}."
    wrong = f"{label}: write a whole number from {least} to {greatest}."
    return forms.IntegerField(
        label=f"{label}, {unit}",
        min_value=least,
        max_value=greatest,
        help_text=limits,
        error_messages=dict.fromkeys(("required", "invalid", "min_value", "max_value"), wrong),
    )


def _clock(label: str) -> forms.TimeField:
    widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    wrong = f"{label}: write a time such as 21:00."
    return forms.TimeField(label=label, widget=widget, error_messages={"required": wrong, "invalid": wrong})


class ClinicForm(forms.Form):
    """The clinic's name and numbers, each within its limits.

    today: the clinic's date. A day for everybody's codes that is not the stored one (initial) has to lie ahead of it.
    """

    name = LineField(label="Name of the clinic", longest=120, error_messages={"required": "Write the clinic's name."})
    address = forms.CharField(
        label="Address", required=False, max_length=500, widget=forms.Textarea(attrs={"rows": 3, "dir": "auto"})
    )
    telephone = LineField(
        label="Telephone that patients call", longest=40, error_messages={"required": "Write the clinic's telephone."}
    )
    emergency_number = LineField(
        label="Emergency number", longest=20, error_messages={"required": "Write the number to call in an emergency."}
    )
    out_of_hours_advice = LineField(
        label="Whom to call outside opening hours",
        longest=300,
        error_messages={"required": "Write what patients do outside opening hours."},
    )
    duty_address = EmailLineField(
        label="Duty e-mail address", required=False, help_text="Gets skin reports outside opening hours at once."
    )
    time_zone = LineField(label="Time zone", longest=64, error_messages={"required": "Write the clinic's time zone."})
    country = LineField(label="Country, two letters", longest=2, error_messages={"required": "Write two letters."})
    region = forms.ChoiceField(
        label="Part of the country",
        required=False,
        help_text="For the holidays suggested under “Days closed”.",
        error_messages={"invalid_choice": "Choose a part of this country, or the whole country."},
    )
    units = forms.ChoiceField(label="Lengths in", choices=Clinic.Units.choices, widget=forms.RadioSelect)
    adhesion_minutes = _number("adhesion_minutes", "Adhesion wait before easy movement", "minutes")
    water_minutes = _number("water_minutes", "Wait before sweat and water", "minutes")
    wear_first_day = _number("wear_first_day", "First day of the wear window", "days after taping")
    wear_last_day = _number("wear_last_day", "Last day of the wear window", "days after taping")
    skin_rest_hours = _number("skin_rest_hours", "Rest of the skin between tapes", "hours")
    quiet_from = _clock("Quiet hours begin")
    quiet_until = _clock("Quiet hours end")
    optional_messages = forms.MultipleChoiceField(
        label="Messages sent in addition", choices=OPTIONAL, required=False, widget=forms.CheckboxSelectMultiple
    )

    codes_from = forms.DateField(
        label="From this day on everybody logs in with a code as well",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        help_text="Managers always do. Empty: everybody else may. Give your staff some days to set it up.",
        error_messages={"invalid": "Choose the day, such as 2027-12-25, or leave it empty."},
    )
    # The latest change of settings when the form was opened.
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, today: date | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._today = today
        country = str((self.data if self.is_bound else self.initial).get("country", "")).strip().upper()
        cast(forms.ChoiceField, self.fields["region"]).choices = [("", "The whole country"), *regions_of(country)]

    def values(self) -> dict[str, Any]:
        """What the form says of Clinic's fields, by name."""
        return {name: value for name, value in self.cleaned_data.items() if name != "version"}

    def sources(self) -> list[tuple[str, str]]:
        """Each number's label and where it comes from."""
        return [(str(self.fields[name].label).partition(",")[0], source) for name, source in SOURCES.items()]

    def clean_codes_from(self) -> date | None:
        day: date | None = self.cleaned_data["codes_from"]
        stored = self.get_initial_for_field(self.fields["codes_from"], "codes_from")
        if day is not None and day != stored and self._today is not None and day <= self._today:
            raise ValidationError("Choose tomorrow or a later day: whoever is at work now would be stopped in it.")
        return day

    def clean_time_zone(self) -> str:
        zone = str(self.cleaned_data["time_zone"])
        if zone not in available_timezones():
            raise ValidationError("No such time zone. Write it like America/New_York.")
        return zone

    def clean_country(self) -> str:
        letters = str(self.cleaned_data["country"]).upper()
        if not (len(letters) == 2 and letters.isascii() and letters.isalpha()):
            raise ValidationError("Write the country's two letters (ISO 3166), such as US.")
        return letters

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        first, last = cleaned.get("wear_first_day"), cleaned.get("wear_last_day")
        if first is not None and last is not None and first > last:
            self.add_error("wear_last_day", "The wear window cannot end before it begins: the last day is too early.")
        if "quiet_from" in cleaned and cleaned.get("quiet_from") == cleaned.get("quiet_until"):
            self.add_error("quiet_until", "Quiet hours must end at another time than they begin.")
        adhesion, water = cleaned.get("adhesion_minutes"), cleaned.get("water_minutes")
        if adhesion is not None and water is not None and water < adhesion:
            self.add_error("water_minutes", "Sweat and water cannot come before easy movement: wait at least as long.")
        return cleaned


class HoursForm(forms.Form):
    """Opening hours, a line a weekday: spans such as "08:00-12:00, 13:00-18:00"; empty means closed."""

    # Stands for the hours that were stored when the form was opened.
    seal = forms.CharField(widget=forms.HiddenInput, required=False)

    @classmethod
    def holding(cls, spans: Spans, typed: "HoursForm | None" = None) -> Self:
        """The form of the hours that are stored; with what was typed where that came too late."""
        shown = {f"day{weekday}": spans_shown(spans.get(weekday, [])) for weekday in range(len(WEEKDAYS))}
        if typed is not None:
            shown = {name: typed.data.get(name, "") for name in shown}
        return cls(initial={**shown, "seal": hours_seal(spans)})

    def differing(self, stored: Spans) -> list[dict[str, str]]:
        """Each weekday on which other hours are stored than are typed here."""
        typed = self.hours()
        return [
            {
                "label": WEEKDAYS[weekday],
                "stored": spans_shown(stored.get(weekday, [])) or "closed",
                "typed": spans_shown(typed.get(weekday, [])) or "closed",
            }
            for weekday in range(len(WEEKDAYS))
            if stored.get(weekday, []) != typed.get(weekday, [])
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for weekday, name in enumerate(WEEKDAYS):
            self.fields[f"day{weekday}"] = forms.CharField(label=name, required=False, max_length=120)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for weekday in range(len(WEEKDAYS)):
            name = f"day{weekday}"
            try:
                cleaned[name] = spans_read(cleaned.get(name, ""))
            except ValidationError as wrong:
                self.add_error(name, f"{WEEKDAYS[weekday]}: {wrong.messages[0]}")
        return cleaned

    def began_with(self) -> str | None:
        """The seal that came along, None where there was none."""
        return self.cleaned_data["seal"] or None

    def hours(self) -> dict[int, list[tuple[time, time]]]:
        """Weekday (Monday 0) to spans, closed days left out."""
        spans = {weekday: self.cleaned_data[f"day{weekday}"] for weekday in range(len(WEEKDAYS))}
        return {weekday: found for weekday, found in spans.items() if found}


def spans_read(text: str) -> list[tuple[time, time]]:
    """Spans of clock times in order. Raises ValidationError where one is unreadable, ends early or overlaps."""
    spans = []
    for part in filter(None, (part.strip() for part in re.split(r"[,;]", text))):
        found = _SPAN.fullmatch(part)
        if found is None:
            raise ValidationError("write spans such as 08:00-12:00, 13:00-18:00, or nothing when closed.")
        opens_hour, opens_minute, closes_hour, closes_minute = (int(number) for number in found.groups())
        try:
            spans.append((time(opens_hour, opens_minute), time(closes_hour, closes_minute)))
        except ValueError as impossible:
            raise ValidationError(f"{part} holds a time that no clock shows.") from impossible
    spans.sort()
    ends = [time.min, *(closes for _, closes in spans)]
    if any(closes <= opens for opens, closes in spans) or any(
        opens < before for (opens, _), before in zip(spans, ends, strict=False)
    ):
        raise ValidationError("a span ends before it begins, or two overlap.")
    return spans


def spans_shown(spans: list[tuple[time, time]]) -> str:
    """What spans_read reads."""
    return ", ".join(f"{opens:%H:%M}-{closes:%H:%M}" for opens, closes in spans)


class ClosureForm(forms.Form):
    """A day on which the clinic does not open. today: the clinic's date; earlier days are refused."""

    day = forms.DateField(
        label="Closed on",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages=dict.fromkeys(("required", "invalid"), "Choose the day, such as 2027-12-25."),
    )
    reason = LineField(label="Why", longest=120, required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        self.today = today
        super().__init__(*args, **kwargs)

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if day < self.today:
            raise ValidationError("That day is past. Choose today or a later one.")
        return day


class TimeOffForm(ClosureForm):
    """Days on which a therapist does not work, both ends included; one day where no last one is given."""

    last = forms.DateField(
        label="Until, that day included",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages={"invalid": "Choose the day, such as 2027-12-25, or leave it empty."},
    )

    field_order = ("day", "last", "reason")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["day"].label = "Away from"

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        first, last = cleaned.get("day"), cleaned.get("last") or cleaned.get("day")
        if first and last and last < first:
            self.add_error("last", "The last day lies before the first. Choose a later one.")
        elif first and last and (last - first).days >= LONGEST_ABSENCE:
            self.add_error("last", f"At most {LONGEST_ABSENCE} days at once: enter the rest apart.")
        cleaned["last"] = last
        return cleaned
