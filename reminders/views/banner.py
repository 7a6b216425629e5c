"""The line on every staff page when messages are late."""

from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from reminders.services.health import late_since


def banner(request: HttpRequest) -> dict[str, Any]:
    """Template context: messages_late_since, an aware moment or None; asked only where somebody is logged in."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    return {"messages_late_since": late_since(now=timezone.now())}
