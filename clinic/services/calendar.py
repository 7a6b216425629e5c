"""A visit as a calendar file (RFC 5545), with the method that tells a calendar what to do with it (RFC 5546)."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime

from icalendar import Calendar, Event, vCalAddress, vText

from clinic.models import Clinic, Visit
from clinic.rules.tongue import Tongue, tongue_of
from clinic.selectors import recipient_of

PRODUCT = "-//Wearwindow//Visits//EN"
REQUEST, CANCEL, PUBLISH = "REQUEST", "CANCEL", "PUBLISH"
_LINE_BREAK = re.compile(r"\r\n?|[\v\f\x85\u2028\u2029]")
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """method is REQUEST, PUBLISH or CANCEL and stands in content too; a mail part has to name the same one."""

    method: str
    content: bytes

    @property
    def content_type(self) -> str:
        return f"text/calendar; charset=utf-8; method={self.method}"


def visit_calendar(
    visit: Visit, *, clinic: Clinic, sender: str, now: datetime, published: bool = False
) -> CalendarFile:
    """One visit for the calendar of whoever gets the patient's messages; patient and helpers are to be at hand.

    sender: the clinic's e-mail address, may be empty. now: aware, the moment this file is made. Times are written in
    UTC, so that no calendar needs to know the zone. A later state of the same visit carries the same UID and a higher
    SEQUENCE and replaces the earlier one. Calendars are shared: no surname, no birth date, no reason for the visit.
    published: for whoever holds the patient's link; it invites nobody and so names no address (RFC 5546, 3.2.1).
    """
    cancelled = visit.state == Visit.State.CANCELLED
    method = CANCEL if cancelled else PUBLISH if published else REQUEST
    calendar = calendar_begin(method)
    event = Event()
    event.add("uid", f"{visit.uid}@wearwindow")
    event.add("sequence", visit.sequence)
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("dtstamp", whole_second(now))
    event.add("created", whole_second(visit.created_at))
    event.add("last-modified", whole_second(visit.changed_at))
    event.add("dtstart", whole_second(visit.starts_at))
    event.add("dtend", whole_second(visit.ends_at))
    _add_words(event, clinic, tongue_of(clinic.speaks(recipient_of(visit.patient).language)))
    if sender:
        event.add("organizer", mail_address(sender, clinic.name))
    if not published:
        _add_attendee(event, visit)
    calendar.add_component(event)
    return CalendarFile(method, calendar.to_ical())


def calendar_begin(method: str = "") -> Calendar:
    """A calendar without an entry yet; one that is read again and again has no method (RFC 5545, 3.7.2)."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    if method:
        calendar.add("method", method)
    return calendar


def _add_words(event: Event, clinic: Clinic, tongue: Tongue) -> None:
    event.add("summary", text_value(tongue.say("Visit: {clinic}", clinic=clinic.name)))
    if clinic.address:
        event.add("location", text_value(clinic.address))
    if clinic.telephone:
        number = tongue.number_apart(clinic.telephone)
        event.add(
            "description", text_value(tongue.say("To move or cancel this visit, call {telephone}.", telephone=number))
        )


def _add_attendee(event: Event, visit: Visit) -> None:
    recipient = recipient_of(visit.patient)
    if recipient.email:
        attendee = mail_address(recipient.email, recipient.call_me)
        attendee.params["role"] = vText("REQ-PARTICIPANT")
        event.add("attendee", attendee, encode=False)


def mail_address(email: str, name: str) -> vCalAddress:
    """An address with the name of who is there."""
    address = vCalAddress(f"mailto:{email}")
    if name:
        # a parameter may hold no control character at all, not even a line break (RFC 5545, 3.1)
        address.params["cn"] = vText(text_value(name).replace("\n", " "))
    return address


def whole_second(at: datetime) -> datetime:
    """at (aware) in UTC, without its fraction: a calendar knows none."""
    return at.astimezone(UTC).replace(microsecond=0)


def text_value(value: str) -> str:
    """Every kind of line break as one, and no other control character: TEXT may hold none (RFC 5545, 3.3.11)."""
    return _CONTROL.sub("", _LINE_BREAK.sub("\n", value)).strip()
