"""What every answer and every request of the clinic has in common."""

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone

from clinic.selectors import clinic_get

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


class LogInFirst(LoginRequiredMiddleware):
    """Sends strangers to the log-in page; an htmx request is told to load it whole instead of swapping it in."""

    def handle_no_permission(  # type: ignore[override]  # any response will do, the stub promises a redirect
        self, request: HttpRequest, view_func: Callable[..., HttpResponseBase]
    ) -> HttpResponseBase:
        response = super().handle_no_permission(request, view_func)
        if request.headers.get("HX-Request") != "true":
            return response
        moved = HttpResponse(status=204)
        moved.headers["HX-Redirect"] = response.headers["Location"]
        return moved


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
