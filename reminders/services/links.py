"""The patient's link: rebuilt from a key whenever a message needs it, never stored."""

import base64
import hashlib
import hmac
from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import F

from clinic.rules.local_time import day_starts
from clinic.services.codes import code_image
from clinic.services.events import Actor, event_record
from clinic.services.versions import plan_raise
from reminders.models import Link
from taping.models import Application

OPEN_AFTER_WINDOW = timedelta(days=14)
MASK = "[link]"
# What a mail or message program takes into a link from the sentence around it.
_STRAY = " \t\r\n.,;:!?()[]<>\"'“”‘’…"
_PATHS = {Link.Purpose.TAPE.value: "/t/", Link.Purpose.STOP.value: "/u/"}


def link_token(application: Application, purpose: str = Link.Purpose.TAPE) -> str:
    """The token of the application's present generation: 256 bits, 43 characters of base64url (RFC 4648, 5)."""
    words = f"{application.pk}:{application.link_generation}:{Link.Purpose(purpose).value}"
    digest = hmac.new(settings.LINK_KEY.encode(), words.encode(), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def link_address(application: Application, purpose: str = Link.Purpose.TAPE) -> str:
    """The full address, built from the configured public address and never from a request."""
    return f"{settings.PUBLIC_ADDRESS}{_PATHS[Link.Purpose(purpose).value]}{link_token(application, purpose)}/"


def link_code(application: Application) -> str:
    """The address of the tape's page as a code to scan. Handing over draws it just before the sheet does."""
    return _code(link_address(application))


@lru_cache(maxsize=256)
def _code(address: str) -> str:
    return code_image(address)


def links_keep(*, application: Application, zone: ZoneInfo) -> None:
    """Make the rows that let this generation's tokens be found, and keep their end in step with the window.

    zone: the clinic's. They stop working fourteen days after the day on which the window closes has ended.
    """
    now_there = Link.objects.filter(application=application, generation=application.link_generation)
    kept = dict(now_there.values_list("purpose", "expires_at"))
    missing = [_link(application, purpose, zone) for purpose in Link.Purpose.values if purpose not in kept]
    if missing:
        Link.objects.bulk_create(missing, ignore_conflicts=True)
    expires_at = _expires_at(application, zone)
    if any(at != expires_at for at in kept.values()):
        now_there.update(expires_at=expires_at)


def links_make(*, applications: Sequence[Application], zone: ZoneInfo) -> None:
    """The same for tapes that have had none yet, all in one statement."""
    rows = [_link(application, purpose, zone) for application in applications for purpose in Link.Purpose.values]
    Link.objects.bulk_create(rows, ignore_conflicts=True)


def _link(application: Application, purpose: str, zone: ZoneInfo) -> Link:
    return Link(
        application=application,
        purpose=purpose,
        generation=application.link_generation,
        token_sha256=_sha256(link_token(application, purpose)),
        expires_at=_expires_at(application, zone),
    )


def _expires_at(application: Application, zone: ZoneInfo) -> datetime:
    return day_starts(application.closes_on + timedelta(days=1), zone) + OPEN_AFTER_WINDOW


def link_find(*, token: str, purpose: str, now: datetime) -> Link | None:
    """The link of this token with its application and patient, or None: unknown, revoked and expired look alike.

    now: aware. One indexed look-up by hash that leaves out what is old, revoked or for something else: each of them
    takes the work that a token nobody ever made takes, so that the time says nothing of how near a guess came.
    A full stop or bracket that came along from the sentence around the link does no harm.
    """
    token = token.strip(_STRAY)
    found = (
        Link.objects.select_related("application__patient", "application__helper", "application__removal_visit")
        .filter(token_sha256=_sha256(token), purpose=purpose, expires_at__gt=now)
        .filter(generation=F("application__link_generation"))
        .first()
    )
    if found is None:
        return None
    fits = hmac.compare_digest(link_token(found.application, purpose).encode(), token.encode())
    return found if fits else None


@transaction.atomic
def link_revoke(*, actor: Actor, now: datetime, application: Application) -> None:
    """Make every link sent for this tape useless; the next message carries a new one."""
    Application.objects.filter(pk=application.pk).update(link_generation=F("link_generation") + 1)
    application.refresh_from_db(fields=["link_generation"])
    event_record(actor=actor, verb="link.revoked", subject=application, patient=application.patient, now=now)
    plan_raise(application)


def _sha256(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
