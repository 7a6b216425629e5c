"""The day on paper, for the desk and for each therapist: who comes when, what to call them, which tape comes off."""

from datetime import datetime
from typing import Any

from clinic.models import Clinic, User
from reminders.rules.words import day_words
from reminders.selectors.day_list import DayList
from reminders.sheets.printing import sheet_html


def day_list_sheet(listed: DayList, *, clinic: Clinic, printed_by: User, now: datetime) -> str:
    """The list as HTML. now: aware, when it is printed. Telephone numbers stand on the desk's list only."""
    day = f"{day_words(listed.day)} {listed.day.year}"
    context: dict[str, Any] = {
        "listed": listed,
        "day": day,
        "desk": listed.therapist is None,
        "printed_by": printed_by.full_name,
        "printed_at": now.astimezone(clinic.zone),
    }
    return sheet_html("day_list", context, clinic=clinic, title=f"Day list, {day}")
