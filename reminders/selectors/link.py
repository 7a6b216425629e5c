"""What the patient's page needs to know beside the tape itself."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from clinic.rules.local_time import at_clock
from clinic.selectors import closed_days, hours_of
from reminders.models import CallItem
from taping.models import Application, SkinReport, Strip
from taping.rules.clock import local_date

LOOK_AHEAD = 14


@dataclass(frozen=True, slots=True)
class Opening:
    """Whether the clinic is open now, and else when it opens next (aware; None: not within two weeks)."""

    open_now: bool
    opens_at: datetime | None


def opening_at(now: datetime, zone: ZoneInfo) -> Opening:
    """The clinic's own hours and closures around now (aware). Two queries."""
    today = local_date(now, zone)
    hours, closed = hours_of(None), closed_days(today, today + timedelta(days=LOOK_AHEAD))
    for number in range(LOOK_AHEAD + 1):
        day = today + timedelta(days=number)
        for opens, closes in [] if day in closed else hours.get(day.weekday(), []):
            if at_clock(day, opens, zone) <= now < at_clock(day, closes, zone):
                return Opening(open_now=True, opens_at=None)
            if at_clock(day, opens, zone) > now:
                return Opening(open_now=False, opens_at=at_clock(day, opens, zone))
    return Opening(open_now=False, opens_at=None)


def reports_open(tape: Application) -> list[SkinReport]:
    """The skin reports about this tape that no therapist has closed yet, the latest first."""
    return list(SkinReport.objects.filter(application=tape, closed_at=None).order_by("-reported_at", "-id"))


def call_is_open(tape: Application) -> bool:
    """Whether the patient asked to be called and nobody has done so yet."""
    asked = CallItem.objects.filter(patient=tape.patient_id, reason=CallItem.Reason.CALL_BACK, closed_at=None)
    return asked.exists()


def strips_top_first(tape: Application) -> list[Strip]:
    """The strips in the order in which they come off: the last one laid lies on top."""
    return list(Strip.objects.filter(plan=tape.plan_id).order_by("-position"))


def days_of(tape: Application, zone: ZoneInfo) -> list[date]:
    """The clinic's days from the day of the tape to the last of its window."""
    first = local_date(tape.applied_at, zone)
    return [first + timedelta(days=number) for number in range((tape.closes_on - first).days + 1)]
