"""From a message's words to what a transport takes."""

from django.conf import settings

from clinic.models.people import Channel
from clinic.services.calendar import visit_calendar
from reminders.services.addresses import Route
from reminders.services.removal_calendar import entry_wanted, removal_calendar
from reminders.services.rendering import Words
from reminders.services.wording import Saying
from reminders.transports import CalendarPart, Outgoing


def outgoing_of(saying: Saying, route: Route, words: Words) -> Outgoing:
    """Everything the transport needs to know, and nothing more."""
    row, by_mail = saying.row, route.channel == Channel.EMAIL
    return Outgoing(
        key=row.key,
        kind=row.kind,
        to=route.address,
        text=words.text,
        due_at=row.planned_for,
        at=saying.now,
        subject=words.subject,
        html=words.html,
        to_name="" if saying.kind.is_for_staff else saying.recipient.call_me,
        from_name=saying.clinic.name,
        unsubscribe=_unsubscribe(saying, words) if by_mail else "",
        calendar=_calendar(saying) if by_mail else (),
        images=words.images,
    )


def _unsubscribe(saying: Saying, words: Words) -> str:
    """Where a mail program stops the messages; without a page for it, an address to write to."""
    if saying.kind.is_for_staff:
        return ""
    return words.stop or f"mailto:{settings.SENDER_ADDRESS}?subject=STOP"


def _calendar(saying: Saying) -> tuple[CalendarPart, ...]:
    """Each visit and removal day by itself: one request speaks of one UID alone (RFC 5546, 3.2.2)."""
    sender, clinic, now = settings.SENDER_ADDRESS, saying.clinic, saying.now
    for row in (saying.row, *saying.joined):
        if row.visit is not None:
            row.visit.patient = row.patient  # read with its helpers already
    visits = [visit_calendar(one, clinic=clinic, sender=sender, now=now) for one in saying.visits]
    tapes = [one for one in saying.applications if entry_wanted(one, saying.kind, clinic)]
    days = [removal_calendar(one, clinic=clinic, sender=sender, now=now) for one in tapes]
    return (
        *(CalendarPart(file.method, file.content) for file in visits),
        *(CalendarPart(file.method, file.content, "tape.ics") for file in days),
    )
