"""In and out."""

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters


@method_decorator(sensitive_post_parameters(), name="dispatch")
class LogIn(LoginView):
    """Django's log-in: a new session key at each log-in, and a next= that never leaves this site."""

    template_name = "clinic/log_in.html"
    redirect_authenticated_user = True


class LogOut(LogoutView):
    """By POST only. The browser is told to forget pages and storage, so that Back shows nobody's data."""

    def post(self, request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        response = super().post(request, *args, **kwargs)
        response.headers["Clear-Site-Data"] = '"cache", "storage"'
        return response
