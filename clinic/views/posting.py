"""What pages with forms have in common."""

from collections.abc import Callable
from datetime import datetime
from uuid import UUID, uuid4

from django.http import HttpRequest, HttpResponseRedirect
from django.utils.http import url_has_allowed_host_and_scheme

from clinic.services.once import once

LONGEST_ADDRESS = 200  # a one-time key keeps the address it led to, and has room for this many characters


def once_key(request: HttpRequest) -> UUID:
    """The form's one-time key; a form that lost its key counts as new."""
    try:
        return UUID(request.POST.get("once", ""))
    except ValueError:
        return uuid4()


def redirect_once(request: HttpRequest, now: datetime, make: Callable[[], str]) -> HttpResponseRedirect:
    """Run make unless this form was sent before, and go to the address it returned then or returns now."""
    address, _ = once(key=once_key(request), now=now, make=make)
    return HttpResponseRedirect(address)


def back_or(request: HttpRequest, default: str) -> str:
    """The address in the form's or the query's "next", where it stays on this site and is not too long; or default."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    own = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if own and len(wanted) <= LONGEST_ADDRESS else default


def text_in(request: HttpRequest, name: str) -> str:
    """A text from the query, trimmed; a null character, which neither a database nor a page can hold, is left out."""
    return request.GET.get(name, "").replace("\x00", "").strip()


def number_in(request: HttpRequest, name: str) -> int | None:
    """A whole number from the query, or None where it is missing or none."""
    text = request.GET.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else None
