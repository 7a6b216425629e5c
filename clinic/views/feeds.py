"""A therapist's own calendar: the page of its address, and what a calendar program reads there."""

import hashlib

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseNotFound
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_http_methods, require_safe

from clinic.models import CalendarFeed
from clinic.services.feeds import DAYS_AHEAD, DAYS_BACK, feed_calendar, feed_find, feed_make, feed_stop, feed_visits
from clinic.services.once import once
from clinic.views.access import actor_of, clinic_of, for_roles, user_of
from clinic.views.guesses import wrong_address
from clinic.views.posting import once_key


@for_roles("therapist")
@require_http_methods(["GET", "HEAD", "POST"])
def my_calendar(request: HttpRequest) -> HttpResponse:
    """Whether there is an address; a post makes a new one, shown this once, or stops it."""
    if request.method == "POST" and "stop" in request.POST:
        feed_stop(actor=actor_of(request), now=timezone.now(), therapist=user_of(request))
        messages.success(request, "The address is stopped. Remove the calendar from your program, too.")
        return redirect("my_calendar")
    address = _made(request) if request.method == "POST" else ""
    if request.method == "POST" and not address:
        messages.warning(request, "That address was shown once already. If you did not keep it, make a new one.")
        return redirect("my_calendar")
    feed = CalendarFeed.objects.filter(therapist=user_of(request)).first()
    context = {"feed": feed, "address": address, "days_back": DAYS_BACK, "days_ahead": DAYS_AHEAD}
    return render(request, "clinic/my_calendar.html", context)


def _made(request: HttpRequest) -> str:
    """The new address; empty where this form made one before, since no secret is kept to show again."""
    made: list[str] = []

    def make() -> str:
        made.append(feed_make(actor=actor_of(request), now=timezone.now(), therapist=user_of(request)))
        return reverse("my_calendar")

    once(key=once_key(request), now=timezone.now(), make=make)
    return f"{settings.PUBLIC_ADDRESS}{reverse('feed', args=made)}" if made else ""


@login_not_required
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponseBase:
    """The visits for a calendar program. Changes nothing; whatever is wrong with an address, the answer is the same."""
    therapist, clinic = feed_find(token), clinic_of(request)
    if therapist is None:
        nothing = HttpResponseNotFound(
            "There is no calendar at this address.\n", content_type="text/plain; charset=utf-8"
        )
        return wrong_address(request, nothing)
    content = feed_calendar(feed_visits(therapist, clinic=clinic, now=timezone.now()), clinic=clinic)
    response = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    response.headers["ETag"] = etag = f'"{hashlib.sha256(content).hexdigest()}"'
    # Kept by the program itself and by nobody on the way, and asked about each time (RFC 9111, 5.2.2).
    response.headers["Cache-Control"] = "private, no-cache"
    return get_conditional_response(request, etag=etag, response=response) or response
