"""From a message's words to what a transport takes."""

from django.conf import settings

from clinic.models.people import Channel
from reminders.services.addresses import Route
from reminders.services.calendar_entry import calendar_entry, calendar_method
from reminders.services.rendering import Words
from reminders.services.wording import Saying
from reminders.transports import Outgoing


def outgoing_of(saying: Saying, route: Route, words: Words) -> Outgoing:
    """Everything the transport needs to know, and nothing more."""
    row, visits, by_mail = saying.row, saying.visits, route.channel == Channel.EMAIL
    with_entry = by_mail and bool(visits)
    return Outgoing(
        key=row.key,
        kind=row.kind,
        to=route.address,
        text=words.text,
        due_at=row.planned_for,
        at=saying.now,
        subject=words.subject,
        html=words.html,
        to_name=saying.recipient.call_me,
        from_name=saying.clinic.name,
        unsubscribe=(words.stop or f"mailto:{settings.SENDER_ADDRESS}?subject=STOP") if by_mail else "",
        calendar=calendar_entry(visits, saying.clinic, saying.now) if with_entry else b"",
        calendar_method=calendar_method(visits) if with_entry else "PUBLISH",
    )
