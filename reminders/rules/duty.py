"""When a skin reaction is told to the clinic's duty address at once: whenever the clinic is closed."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from clinic.rules.local_time import as_instant
from reminders.rules.kinds import MessageKind
from reminders.rules.opening import Opening
from reminders.rules.planned import PlannedMessage

DUTY_USE = timedelta(hours=24)
"""How long it is tried; by then somebody has opened the clinic's call list."""


def plan_duty_report(reported_at: datetime, clinic_zone: ZoneInfo, opening: Opening) -> PlannedMessage | None:
    """Return the mail about a skin report made at `reported_at` (aware), None while somebody is at the clinic.

    At once, quiet hours or not: the patient may be waiting beside the telephone.
    """
    at = as_instant(reported_at, "reported_at")
    if opening.open_now:
        return None
    reasons = (f"a skin reaction was reported at {at.astimezone(clinic_zone):%H:%M}, outside opening hours",)
    return PlannedMessage(MessageKind.DUTY_REPORT, 1, at, at + DUTY_USE, reasons)
