"""What somebody must be able to find later who asks whether the clinic was attacked: refused log-ins, refused pages."""

import logging

from django.contrib.auth.signals import user_login_failed
from django.http import HttpRequest
from django.utils import timezone

from clinic.models import User
from clinic.services.events import Actor, event_record
from clinic.views.access import origin_of, user_of

log = logging.getLogger("clinic.security")


def connect() -> None:
    from axes.signals import user_locked_out

    user_login_failed.connect(_refused, dispatch_uid="clinic.log_in_refused")
    user_locked_out.connect(_held_up, dispatch_uid="clinic.log_in_held_up")


def _refused(
    sender: object, credentials: dict[str, object], request: HttpRequest | None = None, **more: object
) -> None:
    """A wrong name or password: a line in the log for each, an event where the name is that of somebody who works here.

    Names of nobody are not kept: people type their password there. While a name is held up there is no event either,
    so that nobody can fill the table by trying on.
    """
    origin = origin_of(request) if request is not None else None
    log.warning("Log-in refused, from %s", origin)
    held_up = getattr(request, "axes_locked_out", False)
    user = None if held_up else User.objects.filter(username=str(credentials.get("username", ""))).first()
    if user is not None:
        actor = Actor(word="log-in", origin=origin)
        event_record(actor=actor, verb="staff.log_in_refused", subject=user, now=timezone.now())


def _held_up(sender: object, request: HttpRequest | None = None, **more: object) -> None:
    log.warning("Log-in held up after too many wrong passwords, from %s", origin_of(request) if request else None)


def page_refused(request: HttpRequest) -> None:
    """Somebody who is logged in asked for a page that is not theirs. Which page by its name, never by its address."""
    match = request.resolver_match
    page = match.view_name if match else "unknown"
    if not request.user.is_authenticated:
        log.warning("Page %s refused, from %s", page, origin_of(request))
        return
    user = user_of(request)
    log.warning("Page %s refused to user %s, from %s", page, user.pk, origin_of(request))
    actor = Actor(user=user, origin=origin_of(request))
    event_record(actor=actor, verb="staff.page_refused", subject=user, now=timezone.now(), fields=[page])
