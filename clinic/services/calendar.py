"""A visit as a calendar file (RFC 5545), with the method that tells a calendar what to do with it (RFC 5546)."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime

from icalendar import Calendar, Event, vCalAddress, vText

from clinic.models import Clinic, Visit
from clinic.selectors import recipient_of

PRODUCT = "-//Wearwindow//Visits//EN"
REQUEST, CANCEL = "REQUEST", "CANCEL"
_LINE_BREAK = re.compile(r"\r\n?|[\v\f\x85\u2028\u2029]")
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """method is REQUEST or CANCEL and stands in content too; a mail part has to name the same one."""

    method: str
    content: bytes

    @property
    def content_type(self) -> str:
        return f"text/calendar; charset=utf-8; method={self.method}"


def visit_calendar(visit: Visit, *, clinic: Clinic, sender: str, now: datetime) -> CalendarFile:
    """One visit for the calendar of whoever gets the patient's messages; patient and helpers are to be at hand.

    sender: the clinic's e-mail address, may be empty. now: aware, the moment this file is made. Times are written in
    UTC, so that no calendar needs to know the zone. A later state of the same visit carries the same UID and a higher
    SEQUENCE and replaces the earlier one. Calendars are shared: no surname, no birth date, no reason for the visit.
    """
    cancelled = visit.state == Visit.State.CANCELLED
    method = CANCEL if cancelled else REQUEST
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", method)
    event = Event()
    event.add("uid", f"{visit.uid}@wearwindow")
    event.add("sequence", visit.sequence)
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("dtstamp", _second(now))
    event.add("created", _second(visit.created_at))
    event.add("last-modified", _second(visit.changed_at))
    event.add("dtstart", _second(visit.starts_at))
    event.add("dtend", _second(visit.ends_at))
    _add_words(event, clinic)
    _add_people(event, visit, clinic, sender)
    calendar.add_component(event)
    return CalendarFile(method, calendar.to_ical())


def _add_words(event: Event, clinic: Clinic) -> None:
    event.add("summary", _text(f"Visit: {clinic.name}"))
    if clinic.address:
        event.add("location", _text(clinic.address))
    if clinic.telephone:
        event.add("description", _text(f"To move or cancel this visit, call {clinic.telephone}."))


def _add_people(event: Event, visit: Visit, clinic: Clinic, sender: str) -> None:
    recipient = recipient_of(visit.patient)
    if sender:
        event.add("organizer", _address(sender, clinic.name))
    if recipient.email:
        attendee = _address(recipient.email, recipient.call_me)
        attendee.params["role"] = vText("REQ-PARTICIPANT")
        event.add("attendee", attendee, encode=False)


def _address(email: str, name: str) -> vCalAddress:
    address = vCalAddress(f"mailto:{email}")
    if name:
        # a parameter may hold no control character at all, not even a line break (RFC 5545, 3.1)
        address.params["cn"] = vText(_text(name).replace("\n", " "))
    return address


def _second(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(microsecond=0)


def _text(value: str) -> str:
    """Every kind of line break as one, and no other control character: TEXT may hold none (RFC 5545, 3.3.11)."""
    return _CONTROL.sub("", _LINE_BREAK.sub("\n", value)).strip()
