"""Which browsers are known: those in which somebody logged in before. Their cookie names a number drawn by chance.

It tells nothing about a person and opens nothing. What it is good for: wrong log-ins of strangers never keep it out.
"""

import secrets
from hashlib import sha256
from ipaddress import IPv6Address

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

from clinic.rules.origins import place_of
from clinic.views.access import origin_of

SALT = "wearwindow.device"
KEPT_S = 400 * 24 * 60 * 60
"""The longest that browsers keep a cookie (draft-ietf-httpbis-rfc6265bis, 5.5); each log-in begins it anew."""
_OWN_ADDRESSES = b"\xfd"
"""Addresses that no network outside a house has (RFC 4193)."""


def known_device(request: HttpRequest) -> str | None:
    """The number of the browser; None for a strange one, and for a cookie that was made up."""
    try:
        return str(request.get_signed_cookie(settings.DEVICE_COOKIE_NAME, salt=SALT, max_age=KEPT_S)) or None
    except (KeyError, signing.BadSignature):
        return None


def remember_device(request: HttpRequest, response: HttpResponse) -> None:
    """To be called when somebody has logged in, all steps done."""
    response.set_signed_cookie(
        settings.DEVICE_COOKIE_NAME,
        known_device(request) or secrets.token_urlsafe(16),
        salt=SALT,
        max_age=KEPT_S,
        httponly=True,
        samesite="Lax",
        secure=settings.SESSION_COOKIE_SECURE,
    )


def asker(request: HttpRequest) -> str | None:
    """As what wrong passwords of a name are counted: the known browser, written as an address, or else the place."""
    device = known_device(request)
    if device is None:
        return place_of(origin_of(request))
    return str(IPv6Address(_OWN_ADDRESSES + sha256(device.encode()).digest()[:15]))
