"""The forms of the diary."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from clinic.forms.fields import LineField
from clinic.models import User, Visit
from clinic.rules.local_time import LocalTimeError, exact_local

USUAL_MINUTES = 30
SHORTEST, LONGEST = 5, 480
FURTHEST = timedelta(days=2 * 366)
CHOOSE = "Choose one of the free times, or write a date and a time."


def day_field(label: str, **kwargs: Any) -> forms.DateField:
    """A date as browsers send it, year first."""
    # Any other format comes up blank in a date input.
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    unreadable = "Write the date with year, month and day, like 2027-03-16."
    return forms.DateField(
        label=label, widget=widget, input_formats=["%Y-%m-%d"], error_messages={"invalid": unreadable}, **kwargs
    )


class InstantField(forms.CharField):
    """A moment as the page's own buttons send it: ISO 8601 with an offset; gives an aware datetime in UTC."""

    def clean(self, value: Any) -> datetime | None:
        text = str(super().clean(value))
        if not text:
            return None
        try:
            moment = datetime.fromisoformat(text)
            if moment.tzinfo is None:
                raise ValidationError(CHOOSE)
            return moment.astimezone(UTC)
        except (ValueError, OverflowError) as unreadable:
            raise ValidationError(CHOOSE) from unreadable


class DiaryForm(forms.Form):
    """What every form of the diary asks: with whom, and from which day on. today: the clinic's date."""

    therapist = forms.TypedChoiceField(
        label="With",
        coerce=int,
        error_messages={"required": "Choose with whom.", "invalid_choice": "Choose somebody who treats here."},
    )
    day = day_field("From", required=False)

    def __init__(self, *args: Any, staff: Sequence[User], today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.staff, self.today = {one.pk: one for one in staff}, today
        for name in ("day", "on"):
            if name in self.fields:
                self.fields[name].widget.attrs.update(min=today.isoformat(), max=(today + FURTHEST).isoformat())
        field = self.fields["therapist"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [(one.pk, one.full_name) for one in staff]

    def clean_day(self) -> date:
        """A day from today on; a day that is past means today."""
        return max(self.near(self.cleaned_data.get("day")) or self.today, self.today)

    def near(self, day: date | None) -> date | None:
        if day and day > self.today + FURTHEST:
            raise ValidationError("Choose a day within the next two years.")
        return day

    def chosen_therapist(self) -> User:
        """Whose time is chosen; of a form that is valid."""
        return self.staff[self.cleaned_data["therapist"]]


class WishForm(DiaryForm):
    """What is looked for: whose time, for what, how long, from which day on."""

    purpose = forms.ChoiceField(label="For", choices=Visit.Purpose.choices)
    minutes = forms.IntegerField(
        label="Minutes",
        min_value=SHORTEST,
        max_value=LONGEST,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        error_messages={
            "required": "Write how many minutes the visit takes.",
            "invalid": "Write the minutes as a whole number, like 45.",
            "min_value": f"A visit takes at least {SHORTEST} minutes.",
            "max_value": f"A visit takes at most {LONGEST} minutes.",
        },
    )


class TimeForm(DiaryForm):
    """A time: one of those offered, or a date and a clock time written by hand. zone: the clinic's."""

    starts_at = InstantField(label="Time", required=False, widget=forms.HiddenInput)
    on = day_field("Date", required=False)
    at = forms.TimeField(
        label="Time",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time", "step": "300"}, format="%H:%M"),
        input_formats=["%H:%M", "%H:%M:%S", "%H:%M:%S.%f"],
        error_messages={"invalid": "Write the time with hours and minutes, like 14:30."},
    )

    def __init__(self, *args: Any, zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone

    def clean_on(self) -> date | None:
        return self.near(self.cleaned_data.get("on"))

    def clean(self) -> None:
        """Sets start, aware UTC: the button that was pressed counts, whatever stands in the other two fields."""
        start = self.cleaned_data.get("starts_at")
        if start is not None:
            self.errors.pop("on", None)
            self.errors.pop("at", None)
        elif not self.errors:
            start = self._written()
        self.cleaned_data["start"] = start

    def time_refused(self, reason: str, *, taken: bool) -> None:
        """Show reason at whatever the time was chosen with. taken: by another visit; an offered time only just now."""
        if self.cleaned_data.get("starts_at"):
            self.add_error("starts_at", f"That time was just taken. {reason}" if taken else reason)
        else:
            self.add_error("at", reason)

    def _written(self) -> datetime | None:
        on, at = self.cleaned_data.get("on"), self.cleaned_data.get("at")
        if on is None and at is None:
            self.add_error("starts_at", CHOOSE)
        elif on is None:
            self.add_error("on", "Write the date too.")
        elif at is None:
            self.add_error("at", "Write the time too.")
        else:
            wall = datetime.combine(on, at.replace(second=0, microsecond=0))
            try:
                return exact_local(wall, self.zone)
            except LocalTimeError:
                self.add_error("at", _clock_change(wall, self.zone))
        return None


class MoveForm(TimeForm):
    """Another time for a visit; sequence tells the visit as the page showed it."""

    sequence = forms.IntegerField(required=False, widget=forms.HiddenInput)


class BookForm(TimeForm, WishForm):
    """A time that was chosen, for what and for how long."""

    note = LineField(label="Note for the diary", longest=300, required=False)

    def visit(self) -> Visit:
        """An unsaved visit with purpose, note and end; of a form that is valid."""
        return Visit(
            purpose=self.cleaned_data["purpose"],
            note=self.cleaned_data["note"],
            ends_at=self.cleaned_data["start"] + timedelta(minutes=self.cleaned_data["minutes"]),
        )


def _clock_change(wall: datetime, zone: ZoneInfo) -> str:
    """Why a time of a night in which the clocks change cannot be taken as it is written."""
    first, second = (wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if first < second:
        return f"The clocks go back that night and {wall:%H:%M} comes twice. Choose an earlier or a later time."
    return f"The clocks go forward that night and {wall:%H:%M} does not exist. Choose an earlier or a later time."
