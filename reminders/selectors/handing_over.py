"""What handing over shows: the first message, visits inside the wear window, and times that are free in it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from clinic.models import User, Visit
from clinic.rules.slots import FreeTime
from clinic.selectors import day_range
from clinic.selectors.diary import BookableDay, Window, Wish, offered_days
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from taping.models import Application
from taping.rules.clock import local_date

VISIT_MINUTES = 30
TIMES_A_DAY = 3
UNDER_WAY = (Message.State.PLANNED, Message.State.CLAIMED, Message.State.SENDING)


@dataclass(frozen=True, slots=True)
class OfferedDay:
    """A day of the window with a few of its free times, or why there is none."""

    day: BookableDay
    times: tuple[FreeTime, ...]


def first_of(sent: Iterable[Message]) -> Message | None:
    """The message that tells the patient what to do, the last row of it where there are several."""
    rows = [message for message in sent if message.kind == MessageKind.AFTERCARE]
    return max(rows, key=lambda message: message.ordinal, default=None)


def first_message(application: Application) -> Message | None:
    """The same, read by itself."""
    rows = Message.objects.filter(application=application, kind=MessageKind.AFTERCARE)
    return first_of(rows.select_related("patient", "application", "joined_to"))


def visits_in_window(application: Application, zone: ZoneInfo) -> list[Visit]:
    """The patient's booked visits from the first to the last day of the wear window."""
    start, end = day_range(application.opens_on, zone)[0], day_range(application.closes_on, zone)[1]
    found = Visit.objects.filter(
        patient=application.patient_id, state=Visit.State.BOOKED, starts_at__gte=start, starts_at__lt=end
    )
    return list(found.select_related("therapist").order_by("starts_at"))


def times_in_window(application: Application, therapist: User, *, now: datetime, zone: ZoneInfo) -> list[OfferedDay]:
    """The days of the window still to come, each with its first free times spread over the day; four queries."""
    first = max(application.opens_on, local_date(now, zone))
    if first > application.closes_on:
        return []
    window = Window(application.opens_on, application.closes_on, local_date(application.applied_at, zone))
    wish = Wish(therapist, VISIT_MINUTES)
    days = offered_days(first, window, wish=wish, now=now, zone=zone)
    return [OfferedDay(day, _spread(day.times)) for day in days if day.mark]


def _spread(times: tuple[FreeTime, ...]) -> tuple[FreeTime, ...]:
    """The first, a middle and the last one: somebody who works asks for early or late."""
    if len(times) <= TIMES_A_DAY:
        return times
    return (times[0], times[len(times) // 2], times[-1])


def ends_of(start: datetime) -> datetime:
    return start + timedelta(minutes=VISIT_MINUTES)
