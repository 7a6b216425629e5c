"""A time of today, as it is typed for a late entry."""

import re
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from taping.rules.clock import local_date, local_time

_WITH_SECONDS = re.compile(r"(?:\d{4}-\d\d-\d\dT)?\d\d:\d\d(?=:\d\d(?:\.\d+)?$)")


def to_the_minute(value: Any) -> Any:
    """What a page may show again of a time that a browser sent: some leave a field empty whose value has seconds."""
    found = _WITH_SECONDS.match(value) if isinstance(value, str) else None
    return found[0] if found else value


class TimeOfDayField(forms.TimeField):
    """A time on the clinic's wall, without its day; empty means now."""

    widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    default_error_messages = {"invalid": "Write the time like 14:05."}

    def __init__(self, **kwargs: Any) -> None:
        # Browsers send seconds, and some milliseconds, once a time was stepped through.
        super().__init__(input_formats=["%H:%M", "%H:%M:%S", "%H:%M:%S.%f"], required=False, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        return to_the_minute(value)


def time_of_day(typed: time, day: date, zone: ZoneInfo) -> datetime:
    """The moment at which the clinic's wall shows the typed time on that day.

    Raises ClockError for a time that the wall never shows that day, or shows twice.
    """
    return local_time(datetime.combine(day, typed), zone)


def time_of_today(typed: time | None, *, now: datetime, zone: ZoneInfo) -> datetime:
    """The moment at which the clinic's wall shows the typed time on the day of now (aware); now where it is None.

    Raises ClockError for a time that the wall never shows that day, or shows twice.
    """
    return now if typed is None else time_of_day(typed, local_date(now, zone), zone)
