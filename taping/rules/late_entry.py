"""How late something may be entered that happened away from the program, as at the side of a pitch."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from taping.rules.clock import local_date, require_aware

LATE_AFTER = timedelta(minutes=15)
"""A time further back than this was not typed by accident: it needs a reason."""

MOST_DAYS_BACK = 2
"""Calendar days in the clinic's zone. Saturday's match can be entered on Monday morning. Further back nobody knows
the minutes any more, and the first days' reminders to look at the skin would be lost; with the clinic's usual window
every reminder about taking the tape off is still ahead. Common practice, no source."""


def is_late(happened_at: datetime, now: datetime) -> bool:
    """Return whether an entry made now (aware) of what happened then (aware) needs a reason."""
    return require_aware("Now", now) - require_aware("The time", happened_at) > LATE_AFTER


def days_back(happened_at: datetime, now: datetime, zone: ZoneInfo) -> int:
    """Return how many midnights of ``zone`` lie between then and now (both aware); negative for a day to come."""
    return (local_date(now, zone) - local_date(happened_at, zone)).days


def too_far_back(happened_at: datetime, now: datetime, zone: ZoneInfo) -> bool:
    """Return whether it is too long ago to be entered (both aware)."""
    return days_back(happened_at, now, zone) > MOST_DAYS_BACK
