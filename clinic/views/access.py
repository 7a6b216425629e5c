"""Who may open a page."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone

from clinic.models import Clinic, User
from clinic.rules.code_need import CodeNeed, code_need
from clinic.rules.origins import network_of, origin
from clinic.services.events import Actor

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]

STAFF = ("front_desk", "therapist", "student", "manager")
TAPERS = ("therapist", "student")


def for_roles(*roles: str) -> Callable[[View[P]], View[P]]:
    """The page is for staff with one of roles; everybody else who is logged in gets the 403 page."""

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            if not user_of(request).roles.intersection(roles):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        guarded.roles = frozenset(roles)  # type: ignore[attr-defined]
        return guarded

    return decorate


def before_account(view: View[P]) -> View[P]:
    """The page opens, too, for somebody who must first choose a password or set up a second factor."""
    view.before_account = True  # type: ignore[attr-defined]
    return view


def user_of(request: HttpRequest) -> User:
    """The member of staff who is logged in; pages without one never call this."""
    return cast(User, request.user)


def clinic_of(request: HttpRequest) -> Clinic:
    """The clinic's row as this request's middleware read it."""
    clinic: Any = request.clinic  # type: ignore[attr-defined]
    return cast(Clinic, clinic)


def code_need_of(request: HttpRequest, user: User) -> CodeNeed:
    """Whether user logs in with a code as well, today at the clinic."""
    return code_need(
        managers=settings.MANAGERS_NEED_CODE,
        is_manager=user.is_manager,
        everybody_from=clinic_of(request).codes_from,
        today=timezone.localdate(),
    )


def actor_of(request: HttpRequest) -> Actor:
    user = request.user if request.user.is_authenticated else None
    return Actor(user=user, origin=origin_of(request))


def patient_actor(request: HttpRequest) -> Actor:
    """Whoever opened a patient's link. Of their address only the network is kept."""
    return Actor(word="patient link", origin=network_of(origin_of(request)))


def origin_of(request: HttpRequest) -> str | None:
    """The address of whoever asks, behind as many proxies as the settings believe."""
    forwarded = request.META.get("HTTP_X_FORWARDED_FOR", "")
    return origin(request.META.get("REMOTE_ADDR"), forwarded, settings.PROXY_COUNT)
