"""What every page of this layer has in common."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from reminders.sheets.printing import PaperNotAvailable
from reminders.views.no_paper import no_paper


class PaperMissing:
    """A sheet that cannot be made for want of a system library says what to do, instead of "something went wrong"."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        return no_paper(request) if isinstance(exception, PaperNotAvailable) else None
