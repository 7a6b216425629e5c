"""For machines that watch: is the process there, and does the work get done. Strangers learn no details."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from reminders.services.health import health_now


@login_not_required
@require_safe
def alive(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"process": "ok"})


@login_not_required
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """200 when the database answers, migrations are done and no due message is late; else 503 and which of these."""
    state = health_now(now=timezone.now())
    return JsonResponse(state.as_dict(), status=200 if state.good else 503)
