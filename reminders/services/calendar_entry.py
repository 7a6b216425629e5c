"""Visits as calendar entries (RFC 5545): what they are is the patient's business, so the entry only says "visit"."""

from collections.abc import Sequence
from datetime import datetime

from icalendar import Calendar, Event

from clinic.models import Clinic, Visit


def calendar_entry(visits: Sequence[Visit], clinic: Clinic, now: datetime) -> bytes:
    """One calendar with an entry a visit, times in UTC. UID and SEQUENCE let a later entry replace an earlier one."""
    calendar = Calendar()
    calendar.add("prodid", "-//Wearwindow//EN")
    calendar.add("version", "2.0")
    calendar.add("method", calendar_method(visits))
    for visit in visits:
        entry = Event()
        entry.add("uid", f"{visit.uid}@wearwindow")
        entry.add("sequence", visit.sequence)
        entry.add("dtstamp", now)
        entry.add("dtstart", visit.starts_at)
        entry.add("dtend", visit.ends_at)
        entry.add("summary", f"Visit: {clinic.name}")
        if clinic.address:
            entry.add("location", ", ".join(clinic.address.split("\n")))
        if visit.state == Visit.State.CANCELLED:
            entry.add("status", "CANCELLED")
        calendar.add_component(entry)
    return bytes(calendar.to_ical())


def calendar_method(visits: Sequence[Visit]) -> str:
    """CANCEL where every visit was cancelled, else PUBLISH: nobody is asked to answer by calendar."""
    return "CANCEL" if all(visit.state == Visit.State.CANCELLED for visit in visits) else "PUBLISH"
