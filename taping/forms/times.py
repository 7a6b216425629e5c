"""A time of today, as it is typed for a late entry."""

from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from taping.rules.clock import local_date, local_time


class TimeOfDayField(forms.TimeField):
    """A time on the clinic's wall, without its day; empty means now."""

    widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    default_error_messages = {"invalid": "Write the time like 14:05."}

    def __init__(self, **kwargs: Any) -> None:
        # Browsers send seconds, and some milliseconds, once a time was stepped through.
        super().__init__(input_formats=["%H:%M", "%H:%M:%S", "%H:%M:%S.%f"], required=False, **kwargs)


def time_of_today(typed: time | None, *, now: datetime, zone: ZoneInfo) -> datetime:
    """The moment at which the clinic's wall shows the typed time on the day of now (aware); now where it is None.

    Raises ClockError for a time that the wall never shows that day, or shows twice.
    """
    return now if typed is None else local_time(datetime.combine(local_date(now, zone), typed), zone)
