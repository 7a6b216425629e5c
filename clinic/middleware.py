"""What every answer and every request of the clinic has in common."""

from collections.abc import Callable
from functools import lru_cache
from math import ceil
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, UnreadablePostError
from django.http.response import HttpResponseBase
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from clinic.rules.code_need import CodeNeed
from clinic.rules.origins import network_of
from clinic.rules.session_ends import SessionState
from clinic.selectors import clinic_get
from clinic.services.gate import GATE, Reason, Refused
from clinic.views.access import code_need_of, origin_of, user_of
from clinic.views.devices import known_device
from clinic.views.errors import PATIENTS
from clinic.views.session import (
    FORM_KEPT,
    KEPT,
    PROVED,
    UNATTENDED,
    current_page,
    fields_of,
    forget_form,
    keep_form,
    last_user,
    lock,
    state_of,
    to_lock,
    touch,
    whole_page,
)

Handler = Callable[[HttpRequest], HttpResponse]


class PrivatePages:
    """Nothing but static files may be kept by a browser, a proxy or a search engine."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if not request.path.startswith(settings.STATIC_URL):
            response.headers.setdefault("Cache-Control", "no-store, private")
            response.headers.setdefault("X-Robots-Tag", "noindex, nofollow")
        return response


class LongRequests:
    """Refuses a request by the length that it tells, before anything of it is read. Stands before whatever reads.

    The embedded server counts what comes without a length and tells it then; behind other servers it is refused.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response
        self._list = reverse("import_begin")

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or ""
        if not length and request.META.get("HTTP_TRANSFER_ENCODING"):
            return self._refusal(request, 411, {"length_unknown": True})
        is_list = request.path == self._list
        most = settings.LONGEST_REQUEST if is_list else settings.LONGEST_FORM
        if length.isdecimal() and int(length) > most:
            # A megabyte of it is for what the browser adds.
            return self._refusal(request, 413, {"most": most // 1024**2 - 1, "is_list": is_list})
        return self.get_response(request)

    @staticmethod
    def _refusal(request: HttpRequest, status: int, context: dict[str, Any]) -> HttpResponse:
        _throw_away(request)
        staff = not request.path.startswith(PATIENTS)
        page = render_to_string("clinic/too_long.html", {"address": request.path, "staff": staff, **context})
        return HttpResponse(page, status=status)


def _throw_away(request: HttpRequest) -> None:
    """Take the rest off the line, a piece at a time: whoever hangs up on a browser that still sends shows it no page.

    Whoever asks before sending hears the answer without that. The embedded server has thrown everything away itself.
    """
    if not request.META.get("wsgi.input_terminated") or request.META.get("HTTP_EXPECT"):
        return
    left = settings.MOST_THROWN_AWAY
    while left > 0 and (piece := request.META["wsgi.input"].read(1 << 16)):
        left -= len(piece)


class LogInGate:
    """Keeps wrong log-ins from taking the time that the right ones need. Stands before whatever asks the database.

    A try too many costs no session, no form and no password hash; its page was made once and is handed out again.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response
        self._log_in = reverse("log_in")

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method != "POST" or request.path != self._log_in:
            return self.get_response(request)
        try:
            request.body  # noqa: B018  # Whole, before a place is taken: whoever sends slowly must hold none.
        except UnreadablePostError:
            return HttpResponse(status=400)
        network = network_of(origin_of(request)) or "unknown"
        found = GATE.enter(device=known_device(request), network=network, now=timezone.now().timestamp())
        if isinstance(found, Refused):
            return self._refusal(found)
        try:
            response = self.get_response(request)
        finally:
            found.leave()
        if response.status_code == HttpResponseRedirect.status_code:
            found.forgive()
        return response

    def _refusal(self, refused: Refused) -> HttpResponse:
        page = _refusal_page(refused.reason, max(1, ceil(refused.wait_s / 60)), self._log_in)
        response = HttpResponse(page, status=429, headers={"Retry-After": str(ceil(refused.wait_s))})
        # Django would log each of them; the gate tells how many there were.
        response._has_been_logged = True  # type: ignore[attr-defined]
        return response


@lru_cache(maxsize=64)
def _refusal_page(reason: Reason, minutes: int, log_in: str) -> bytes:
    context = {"reason": reason, "minutes": minutes, "log_in": log_in}
    return render_to_string("clinic/log_in_refused.html", context).encode()


class _OnMembersPages:
    """What has a say on each page that asks for a log-in, while somebody is logged in. Strangers pass untouched."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., HttpResponseBase], args: object, kwargs: object
    ) -> HttpResponseBase | None:
        if not getattr(view, "login_required", True) or not request.user.is_authenticated:
            return None
        # Marks on a class stand on the class, and not on the function that Django makes of it.
        return self.say(request, getattr(view, "view_class", view))

    def say(self, request: HttpRequest, page: object) -> HttpResponseBase | None:
        """None to let the page be shown, else what is shown in its place. page: the view or its class."""
        raise NotImplementedError


class SessionClock(_OnMembersPages):
    """Locks a session that nobody touched for a while, and ends it after a working day. Stands before LogInFirst."""

    def say(self, request: HttpRequest, page: object) -> HttpResponseBase | None:
        now = timezone.now()
        state = state_of(request.session, now)
        if state is SessionState.OVER:
            request.session.flush()
            request.user = AnonymousUser()
        elif state is SessionState.LOCKED:
            lock(request.session)
            if not getattr(page, "works_while_locked", False):
                return to_lock(request)
        elif UNATTENDED not in request.headers:
            touch(request.session, now)
            _forget_sent(request)
        return None


def _forget_sent(request: HttpRequest) -> None:
    """A kept form that is sent now need not be kept any more."""
    if request.method == "POST" and request.session.get(KEPT, {}).get("address") == request.get_full_path():
        forget_form(request.session)


class LogInFirst(LoginRequiredMiddleware):
    """Sends strangers to the log-in page; an htmx request is told to load it whole instead of swapping it in.

    A form posted after its session ran out is kept for the one who was logged in, and for nobody else.
    """

    def handle_no_permission(  # type: ignore[override]  # any response will do, the stub promises a redirect
        self, request: HttpRequest, view_func: Callable[..., HttpResponseBase]
    ) -> HttpResponseBase:
        if request.headers.get("HX-Request") == "true":
            return whole_page(f"{settings.LOGIN_URL}?{urlencode({'next': self._back(request)}, safe='/')}")
        user = last_user(request) if request.method == "POST" else None
        if user is not None:
            fields = fields_of(request.POST.lists())
            keep_form(request.session, address=request.get_full_path(), fields=fields, user=user)
            request.session.set_expiry(FORM_KEPT)
        return super().handle_no_permission(request, view_func)

    @staticmethod
    def _back(request: HttpRequest) -> str:
        return current_page(request) if "HX-Current-URL" in request.headers else request.get_full_path()


class AccountFirst(_OnMembersPages):
    """Whoever was given a password chooses one first; who needs a second factor sets it up. Stands after LogInFirst."""

    def say(self, request: HttpRequest, page: object) -> HttpResponseBase | None:
        if getattr(page, "before_account", False) or getattr(page, "works_while_locked", False):
            return None
        user = user_of(request)
        if user.must_change_password:
            return self._to(request, "account_password")
        if not request.session.get(PROVED) and code_need_of(request, user) is CodeNeed.NOW:
            return self._to(request, "account_factor")
        return None

    @staticmethod
    def _to(request: HttpRequest, name: str) -> HttpResponse:
        if request.headers.get("HX-Request") == "true":
            return whole_page(reverse(name))
        if request.method == "POST":
            # Whoever was at work when the day began finds a form that was posted whole again once that is done.
            fields = fields_of(request.POST.lists())
            keep_form(request.session, address=request.get_full_path(), fields=fields, user=user_of(request).pk)
        return HttpResponseRedirect(reverse(name))


class ClinicTime:
    """Pages speak the clinic's local time, whatever zone the server stands in. The row is read once a request."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/health/"):
            return self.get_response(request)
        clinic = clinic_get()
        request.clinic = clinic  # type: ignore[attr-defined]
        with timezone.override(clinic.zone):
            return self.get_response(request)
