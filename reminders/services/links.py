"""The patient's link: rebuilt from a key whenever a message needs it, never stored."""

import base64
import hashlib
import hmac
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import F

from clinic.rules.local_time import day_starts
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


def links_keep(*, application: Application, zone: ZoneInfo) -> None:
    """Make the rows that let this generation's tokens be found, and keep their end in step with the window.

    zone: the clinic's. They stop working fourteen days after the day on which the window closes has ended.
    """
    expires_at = day_starts(application.closes_on + timedelta(days=1), zone) + OPEN_AFTER_WINDOW
    now_there = Link.objects.filter(application=application, generation=application.link_generation)
    kept = dict(now_there.values_list("purpose", "expires_at"))
    missing = [purpose for purpose in Link.Purpose.values if purpose not in kept]
    if missing:
        Link.objects.bulk_create(
            [
                Link(
                    application=application,
                    purpose=purpose,
                    generation=application.link_generation,
                    token_sha256=_sha256(link_token(application, purpose)),
                    expires_at=expires_at,
                )
                for purpose in missing
            ],
            ignore_conflicts=True,
        )
    if any(at != expires_at for at in kept.values()):
        now_there.update(expires_at=expires_at)


def link_find(*, token: str, purpose: str, now: datetime) -> Link | None:
    """The link of this token with its application and patient, or None: unknown, revoked and expired look alike.

    now: aware. One indexed look-up by hash, so that the time taken says nothing about how near a guess came.
    A full stop or bracket that came along from the sentence around the link does no harm.
    """
    token = token.strip(_STRAY)
    found = (
        Link.objects.select_related("application__patient", "application__helper", "application__removal_visit")
        .filter(token_sha256=_sha256(token), purpose=purpose)
        .first()
    )
    if found is None:
        return None
    fits = hmac.compare_digest(link_token(found.application, purpose).encode(), token.encode())
    return found if fits and now < found.expires_at else None


@transaction.atomic
def link_revoke(*, actor: Actor, now: datetime, application: Application) -> None:
    """Make every link sent for this tape useless; the next message carries a new one."""
    Application.objects.filter(pk=application.pk).update(link_generation=F("link_generation") + 1)
    application.refresh_from_db(fields=["link_generation"])
    event_record(actor=actor, verb="link.revoked", subject=application, patient=application.patient, now=now)
    plan_raise(application)


def _sha256(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
