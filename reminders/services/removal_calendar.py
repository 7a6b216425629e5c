"""The day on which tape comes off as an all-day calendar entry (RFC 5545), the same one however often it is sent."""

import hashlib
import hmac
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from icalendar import Event

from clinic.models import Clinic
from clinic.services.calendar import (
    CANCEL,
    PUBLISH,
    CalendarFile,
    calendar_begin,
    mail_address,
    text_value,
    visit_calendar,
    whole_second,
)
from reminders.rules.calendar_words import removal_entry_name, removal_entry_words
from reminders.rules.kinds import MessageKind
from reminders.services.subjects import removal_visit_of
from reminders.services.tape_now import tongue_for
from taping.models import Application
from taping.rules.clock import local_date
from taping.rules.removal import Remover

ANNOUNCES = frozenset({MessageKind.AFTERCARE, MessageKind.REMOVAL_EVE, MessageKind.REMOVAL_DAY})


def removal_calendar(tape: Application, *, clinic: Clinic, sender: str, now: datetime) -> CalendarFile:
    """The removal day of this tape for the patient's calendar; a tape that is off cancels its entry.

    sender: the clinic's e-mail address, may be empty. now: aware, the moment this file is made. The day is the
    clinic's, without a zone, and its end is exclusive (RFC 5545, 3.6.1). A later state carries the same UID and no
    lower SEQUENCE: the version that whatever moves the day raises. It invites nobody (RFC 5546, 3.2.1).
    """
    method = CANCEL if tape.ended_at is not None else PUBLISH
    calendar = calendar_begin(method)
    event = Event()
    event.add("uid", f"{_uid(tape)}@wearwindow")
    event.add("sequence", tape.plan_version)
    event.add("status", "CANCELLED" if method == CANCEL else "CONFIRMED")
    event.add("dtstamp", whole_second(now))
    event.add("dtstart", tape.removal_day)
    event.add("dtend", tape.removal_day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")  # the day stays free for everything else
    tongue = tongue_for(tape, clinic)
    event.add("summary", text_value(removal_entry_name(clinic.name, tongue)))
    event.add("description", text_value(removal_entry_words(Remover(tape.removal), clinic.telephone, tongue)))
    if sender:
        event.add("organizer", mail_address(sender, clinic.name))
    calendar.add_component(event)
    return CalendarFile(method, calendar.to_ical())


def tape_calendar(tape: Application, *, clinic: Clinic, sender: str, now: datetime) -> CalendarFile:
    """When this tape comes off: the visit for it where one stands, else the day."""
    visit = removal_visit_of(tape)
    if visit is not None and tape.ended_at is None:
        return visit_calendar(visit, clinic=clinic, sender=sender, now=now, published=True)
    return removal_calendar(tape, clinic=clinic, sender=sender, now=now)


def entry_wanted(tape: Application, kind: MessageKind, clinic: Clinic) -> bool:
    """Whether a mail of this kind carries the entry: where it announces the day, or where the tape came off earlier.

    Where a visit stands for it, that visit's own mails carry the entry.
    """
    if removal_visit_of(tape) is not None:
        return False
    if tape.ended_at is not None:
        return kind is MessageKind.SKIN_FOLLOW_UP and local_date(tape.ended_at, clinic.zone) < tape.removal_day
    return kind in ANNOUNCES


def _uid(tape: Application) -> UUID:
    """Stable, unlike that of any other clinic's tape, and telling nothing."""
    words = f"calendar:{tape.pk}".encode()
    return UUID(bytes=hmac.new(settings.LINK_KEY.encode(), words, hashlib.sha256).digest()[:16], version=4)
