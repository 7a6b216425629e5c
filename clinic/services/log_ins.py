"""Where a member of staff is logged in, and the end of it: read from the store of sessions, which holds staff alone."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session

from clinic.models import User
from clinic.rules.session_ends import is_over, noted_moment
from clinic.services.events import Actor, event_record

STARTED, TOUCHED, ORIGIN, DEVICE = "started_at", "touched_at", "origin", "device"
_BROWSERS = (("Edg", "Edge"), ("Firefox", "Firefox"), ("Chrom", "Chrome"), ("Safari", "Safari"))
_SYSTEMS = (
    ("iPad", "iPad"), ("iPhone", "iPhone"), ("Android", "Android"), ("Windows", "Windows"), ("Mac OS", "Mac"),
    ("Linux", "Linux"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LogIn:
    """One log-in that holds. name: tells it apart without opening it; times are aware, None where not noted."""

    name: str
    began_at: datetime | None
    touched_at: datetime | None
    origin: str
    device: str
    own: bool


def device_words(agent: str) -> str:
    """The browser and the kind of machine, as it says of itself: "Firefox on Windows"."""
    browser = next((word for sign, word in _BROWSERS if sign in agent), "")
    system = next((word for sign, word in _SYSTEMS if re.search(sign, agent)), "")
    return " on ".join(filter(None, (browser, system))) or "unknown device"


def log_ins_of(user: User, *, now: datetime, own: str | None) -> list[LogIn]:
    """Each log-in of user that holds at now (aware), the latest touched first. own: the asking session's key."""
    found = [
        LogIn(
            name=_name(session.session_key),
            began_at=noted_moment(data.get(STARTED)),
            touched_at=noted_moment(data.get(TOUCHED)),
            origin=str(data.get(ORIGIN) or ""),
            device=str(data.get(DEVICE) or device_words("")),
            own=session.session_key == own,
        )
        for session, data in _sessions(user, now)
    ]
    return sorted(found, key=lambda one: (one.own, one.touched_at or datetime.min.replace(tzinfo=UTC)), reverse=True)


def log_ins_end(*, actor: Actor, now: datetime, user: User, ends: Callable[[str], bool]) -> int:
    """End user's log-ins whose name (as in LogIn) ends says yes to; returns how many. now: aware."""
    keys = [session.session_key for session, _ in _sessions(user, now) if ends(_name(session.session_key))]
    Session.objects.filter(session_key__in=keys).delete()
    if keys:
        event_record(actor=actor, verb="staff.log_ins_ended", subject=user, now=now)
    return len(keys)


def _sessions(user: User, now: datetime) -> Iterator[tuple[Session, dict[str, object]]]:
    for session in Session.objects.filter(expire_date__gt=now).iterator():
        data = session.get_decoded()
        if data.get(SESSION_KEY) != str(user.pk):
            continue
        began = noted_moment(data.get(STARTED)) or now
        # The row outlives the log-in: each touch puts its end off.
        if not is_over(started_at=began, now=now, longest=timedelta(hours=settings.SESSION_HOURS)):
            yield session, data


def _name(key: str) -> str:
    # Whoever reads a page must not be able to take over a log-in that it lists.
    return sha256(key.encode()).hexdigest()[:16]
