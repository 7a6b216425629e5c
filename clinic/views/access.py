"""Who may open a page."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase

from clinic.models import Clinic, User
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


def user_of(request: HttpRequest) -> User:
    """The member of staff who is logged in; pages without one never call this."""
    return cast(User, request.user)


def clinic_of(request: HttpRequest) -> Clinic:
    """The clinic's row as this request's middleware read it."""
    clinic: Any = request.clinic  # type: ignore[attr-defined]
    return cast(Clinic, clinic)


def actor_of(request: HttpRequest) -> Actor:
    user = request.user if request.user.is_authenticated else None
    return Actor(user=user, origin=request.META.get("REMOTE_ADDR"))
