"""What a session remembers about itself: when it began, when it was touched, whether it is locked, a form to keep."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.sessions.backends.base import SessionBase
from django.core import signing
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone

from clinic.rules.session_ends import SessionState, noted_moment, session_state
from clinic.services.log_ins import DEVICE, ORIGIN, STARTED, TOUCHED, device_words
from clinic.views.access import origin_of, user_of

LOCKED, KEPT, KEPT_FOR = "locked", "kept_form", "kept_for"
TOUCH_EVERY = 60.0
"""Seconds between two writes of the touch: not every click is worth one."""
PROVED = "second_factor"
"""Set in a session whose log-in was proved by a second factor."""
UNATTENDED = "X-Unattended"
"""Header of requests that a page makes by itself; they are no touch."""
FRESH = timedelta(minutes=10)
"""How long after the password was written the second factor may be set up without writing it again. No source."""
LAST_USER = "__Host-wearwindow-last" if settings.PUBLIC else "wearwindow-last"
LAST_USER_SALT = "wearwindow-last"
MOST_KEPT = 200_000
FORM_KEPT = 60 * 60
"""Seconds for which the form of a session that ran out waits for its owner."""
# What must never be written back into a page when a form is offered again.
NOT_KEPT = ("csrfmiddlewaretoken", "code")

Fields = list[tuple[str, str]]


def session_begin(session: SessionBase, now: datetime) -> None:
    """Note the log-in. now: aware."""
    session[STARTED] = session[TOUCHED] = now.timestamp()
    session.pop(LOCKED, None)


def is_fresh(session: SessionBase, now: datetime) -> bool:
    """Whether the password was written just now, at the log-in or at the lock. now: aware."""
    began = noted_moment(session.get(STARTED))
    return began is not None and timedelta(0) <= now - began <= FRESH


def state_of(session: SessionBase, now: datetime) -> SessionState:
    """What becomes of the session at now (aware); one that never noted its log-in counts as begun now."""
    found = session_state(
        started_at=noted_moment(session.get(STARTED)) or now,
        touched_at=noted_moment(session.get(TOUCHED)) or now,
        now=now,
        idle=timedelta(minutes=settings.IDLE_LOCK_MINUTES),
        longest=timedelta(hours=settings.SESSION_HOURS),
    )
    return SessionState.LOCKED if found is SessionState.AWAKE and session.get(LOCKED) else found


def touch(session: SessionBase, now: datetime) -> None:
    at = now.timestamp()
    if STARTED not in session:
        session_begin(session, now)
    elif not 0 <= at - session[TOUCHED] < TOUCH_EVERY:
        session[TOUCHED] = at


def lock(session: SessionBase) -> None:
    if not session.get(LOCKED):
        session[LOCKED] = True


def fields_of(lists: Iterable[tuple[str, list[Any]]]) -> Fields:
    """The fields of a posted form that may be offered again, in their order."""
    return [(name, value) for name, values in lists if _may_be_kept(name) for value in values]


def _may_be_kept(name: str) -> bool:
    return name not in NOT_KEPT and "password" not in name


def keep_form(session: SessionBase, *, address: str, fields: Fields, user: int) -> bool:
    """Keep a form for user until it is sent again; False where it is too large, leads off this site or is none."""
    if address == reverse("awake"):
        # The page's own beat: kept, it would stand in the place of what somebody wrote.
        return False
    if urlsplit(address).netloc or not address.startswith("/") or sum(len(value) for _, value in fields) > MOST_KEPT:
        return False
    session[KEPT], session[KEPT_FOR] = {"address": address, "fields": [list(pair) for pair in fields]}, user
    return True


def kept_form(session: SessionBase, user: int) -> dict[str, Any] | None:
    """The form kept for this user; what was kept for somebody else is thrown away."""
    if KEPT in session and session.get(KEPT_FOR) != user:
        forget_form(session)
    found: dict[str, Any] | None = session.get(KEPT)
    return found


def forget_form(session: SessionBase) -> None:
    session.pop(KEPT, None)
    session.pop(KEPT_FOR, None)


def log_out_with_form(request: HttpRequest) -> None:
    """End the log-in; the form that was kept waits for its owner's next one in this browser."""
    user = user_of(request).pk
    kept = kept_form(request.session, user)
    logout(request)
    if kept is not None:
        keep_form(request.session, address=kept["address"], fields=[(n, v) for n, v in kept["fields"]], user=user)
        request.session.set_expiry(FORM_KEPT)


def last_user(request: HttpRequest) -> int | None:
    """Who was logged in here before the session ran out; nobody after a log-out."""
    try:
        return int(request.get_signed_cookie(LAST_USER, salt=LAST_USER_SALT, max_age=24 * 60 * 60) or "")
    except (KeyError, signing.BadSignature, ValueError):
        return None


def remember_user(response: HttpResponse, user: int) -> None:
    response.set_signed_cookie(
        LAST_USER,
        str(user),
        salt=LAST_USER_SALT,
        max_age=24 * 60 * 60,
        httponly=True,
        samesite="Lax",
        secure=settings.SESSION_COOKIE_SECURE,
    )


def forget_user(response: HttpResponse) -> None:
    response.delete_cookie(LAST_USER, samesite="Lax")


def to_lock(request: HttpRequest) -> HttpResponseBase:
    """Lead to the lock page and from there back; a posted form is kept, htmx loads the page whole."""
    if request.headers.get("HX-Request") == "true":
        return whole_page(_lock_address(current_page(request)))
    back = request.get_full_path()
    if request.method == "POST":
        kept = keep_form(
            request.session,
            address=back,
            fields=fields_of(request.POST.lists()),
            user=user_of(request).pk,
        )
        back = reverse("kept_form") if kept else reverse("today")
    return HttpResponseRedirect(_lock_address(back))


def _lock_address(back: str) -> str:
    return f"{reverse('locked')}?{urlencode({'next': back}, safe='/')}"


def current_page(request: HttpRequest) -> str:
    """The address of the page that an htmx request came from, without its host; Today where it is not told."""
    try:
        parts = urlsplit(request.headers.get("HX-Current-URL", ""))
    except ValueError:  # nothing that a browser would name
        return reverse("today")
    query = f"?{parts.query}" if parts.query else ""
    return f"{parts.path}{query}" if parts.path.startswith("/") else reverse("today")


def whole_page(address: str) -> HttpResponse:
    """Tell htmx to load address whole instead of swapping it in."""
    moved = HttpResponse(status=204)
    moved.headers["HX-Redirect"] = address
    return moved


def began(sender: object, request: HttpRequest, **kwargs: object) -> None:
    """Receiver of the log-in signal."""
    session_begin(request.session, timezone.now())
    request.session[ORIGIN] = origin_of(request)
    request.session[DEVICE] = device_words(request.headers.get("User-Agent", ""))
