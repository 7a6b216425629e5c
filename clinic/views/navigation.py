"""The navigation: only pages that exist, and only those this person may open."""

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from clinic.models import User
from clinic.views.access import STAFF


@dataclass(frozen=True, slots=True)
class Entry:
    word: str
    route: str
    roles: tuple[str, ...]


ENTRIES = (
    Entry("Today", "today", STAFF),
    Entry("Patients", "patients", STAFF),
    Entry("Diary", "diary", STAFF),
    Entry("Messages", "messages", STAFF),
    Entry("Numbers", "numbers", ("therapist", "student", "manager")),
    Entry("Settings", "settings", ("manager",)),
)


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Template context: navigation, a list of {word, address, here}; idle_seconds, after which the page locks."""
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return {"navigation": []}
    shown = []
    for entry in ENTRIES:
        if not user.roles.intersection(entry.roles):
            continue
        try:
            address = reverse(entry.route)
        except NoReverseMatch:
            continue
        here = request.path == address if address == "/" else request.path.startswith(address)
        shown.append({"word": entry.word, "address": address, "here": here})
    return {"navigation": shown, "idle_seconds": settings.IDLE_LOCK_MINUTES * 60}
