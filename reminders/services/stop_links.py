"""The address in mails about a visit at which its reader stops all messages, tape or no tape."""

import base64
import hashlib
import hmac
from datetime import datetime, timedelta

from django.conf import settings

from clinic.models import Visit
from reminders.models import StopLink

OPEN_AFTER_VISIT = timedelta(days=30)
"""Mails are read late; the address in one goes on working that long after its visit."""

_STRAY = " \t\r\n.,;:!?()[]<>\"'“”‘’…"


def stop_token(visit: Visit) -> str:
    """256 bits, 43 characters of base64url (RFC 4648, 5), of which nothing but their hash is stored."""
    digest = hmac.new(settings.LINK_KEY.encode(), f"visit:{visit.pk}:{visit.uid}:stop".encode(), hashlib.sha256)
    return base64.urlsafe_b64encode(digest.digest()).rstrip(b"=").decode()


def stop_address(visit: Visit) -> str:
    """The full address, built from the configured public address and never from a request."""
    return f"{settings.PUBLIC_ADDRESS}/u/{stop_token(visit)}/"


def stop_link_keep(*, visit: Visit) -> None:
    """Make the row that lets the token be found, and keep its end in step with the visit."""
    values = {"token_sha256": _sha256(stop_token(visit)), "expires_at": visit.ends_at + OPEN_AFTER_VISIT}
    link, made = StopLink.objects.get_or_create(visit=visit, defaults=values)
    if not made and (link.token_sha256, link.expires_at) != (values["token_sha256"], values["expires_at"]):
        StopLink.objects.filter(pk=link.pk).update(**values)


def stop_link_find(*, token: str, now: datetime) -> Visit | None:
    """The visit, with its patient, of the mail with this token; None where it is unknown or too old. now: aware."""
    token = token.strip(_STRAY)
    found = StopLink.objects.select_related("visit__patient").filter(token_sha256=_sha256(token), expires_at__gt=now)
    link = found.first()
    if link is None:
        return None
    return link.visit if hmac.compare_digest(stop_token(link.visit).encode(), token.encode()) else None


def _sha256(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
