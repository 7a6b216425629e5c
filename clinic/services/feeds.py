"""A therapist's diary for their own calendar program, under an address that nobody can guess."""

import hashlib
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from icalendar import Event, vText

from clinic.models import CalendarFeed, Clinic, User, Visit
from clinic.models.visits import TAKES_TIME
from clinic.selectors import day_range, visits_between
from clinic.services.calendar import calendar_begin, text_value, whole_second
from clinic.services.events import Actor, event_record

DAYS_BACK, DAYS_AHEAD = 14, 90
REFRESH = timedelta(hours=1)
"""How often a calendar program is asked to look again."""

SECRET_BYTES = 32


@transaction.atomic
def feed_make(*, actor: Actor, now: datetime, therapist: User) -> str:
    """Make the therapist's address, the earlier one is dead from now on. Returns its secret, which is kept nowhere."""
    token = secrets.token_urlsafe(SECRET_BYTES)
    CalendarFeed.objects.update_or_create(
        therapist=therapist, defaults={"token_sha256": _digest(token), "made_at": now}
    )
    event_record(actor=actor, verb="feed.made", subject=therapist, now=now)
    return token


@transaction.atomic
def feed_stop(*, actor: Actor, now: datetime, therapist: User) -> None:
    """The therapist's address opens nothing any more. Stopping it twice changes nothing."""
    gone, _ = CalendarFeed.objects.filter(therapist=therapist).delete()
    if gone:
        event_record(actor=actor, verb="feed.stopped", subject=therapist, now=now)


def feed_find(token: str) -> User | None:
    """Whose address it is; None for an unknown or old one, and for somebody who no longer treats here.

    One indexed look-up by digest, so that the time taken says nothing about how near a guess came.
    """
    found = CalendarFeed.objects.select_related("therapist").filter(
        token_sha256=_digest(token), therapist__is_active=True, therapist__is_therapist=True
    )
    feed = found.first()
    return feed.therapist if feed else None


def feed_visits(therapist: User, *, clinic: Clinic, now: datetime) -> list[Visit]:
    """The therapist's visits from DAYS_BACK days ago to DAYS_AHEAD days ahead, the clinic's days. now: aware."""
    today = now.astimezone(clinic.zone).date()
    start = day_range(today - timedelta(days=DAYS_BACK), clinic.zone)[0]
    end = day_range(today + timedelta(days=DAYS_AHEAD), clinic.zone)[1]
    visits = visits_between(start, end).filter(therapist=therapist, state__in=TAKES_TIME)
    return list(visits.order_by("starts_at", "id"))


def feed_calendar(visits: Iterable[Visit], *, clinic: Clinic) -> bytes:
    """The visits as a calendar (RFC 5545, 7986): when, and where to read who it is after logging in.

    Calendar programs hand what they read to others: nobody is named and nothing is said of what is done. The same
    visits give the same octets, so that a program that has them already is sent nothing.
    """
    calendar = calendar_begin()
    # By its type, since the library does not know that this property is text and would escape nothing.
    calendar.add("name", vText(text_value(f"Visits: {clinic.name}")))
    calendar.add("refresh-interval", REFRESH, parameters={"value": "DURATION"})
    for visit in visits:
        event = Event()
        event.add("uid", f"diary-{visit.uid}@wearwindow")
        event.add("sequence", visit.sequence)
        # Without a method this is when the entry was last changed (RFC 5545, 3.8.7.2).
        event.add("dtstamp", whole_second(visit.changed_at))
        event.add("dtstart", whole_second(visit.starts_at))
        event.add("dtend", whole_second(visit.ends_at))
        event.add("summary", "Visit")
        event.add("class", "PRIVATE")
        event.add("url", f"{settings.PUBLIC_ADDRESS}/visits/{visit.pk}/")
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
