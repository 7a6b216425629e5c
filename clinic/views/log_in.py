"""In and out."""

from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from clinic.forms.staff import CodeForm
from clinic.models import User
from clinic.rules.code_need import CodeNeed
from clinic.rules.origins import network_of
from clinic.selectors.staff import FIRST_MANAGER, anybody_can_log_in
from clinic.services.events import Actor, event_record
from clinic.services.gate import GATE
from clinic.services.second_factor import Checked, factor_check, factor_of
from clinic.views.access import actor_of, clinic_of, code_need_of, origin_of, user_of
from clinic.views.devices import remember_device
from clinic.views.session import PROVED, forget_user, kept_form, last_user, remember_user

ASKED = "code_asked"
"""In a session between the right password and the code: whom, when, and the page wanted."""
ANSWER_WITHIN = timedelta(minutes=5)
NO_CODE = {
    Checked.WRONG: "That is not the code of this moment. If it is what the app shows, see that the telephone sets its "
    "clock by itself; or use a recovery code.",
    Checked.USED: "That code was used already: each works once. Wait until the app shows the next one.",
    Checked.WAIT: "Too many wrong codes. Wait a few minutes, then write the code that the app shows then.",
}


@method_decorator(sensitive_post_parameters(), name="dispatch")
class LogIn(LoginView):
    """Django's log-in: a new session key at each log-in, and a next= that never leaves this site."""

    template_name = "clinic/log_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """In a clinic that was just begun nobody could be asked: the page says how the first log-in is made."""
        return super().get_context_data(nobody=not anybody_can_log_in(), first_manager=FIRST_MANAGER, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Whoever has a second factor is asked for its code; nobody is logged in before that."""
        user = form.get_user()
        if factor_of(user) is None:
            return _enter(self.request, user, self.get_success_url())
        self.request.session[ASKED] = {
            "user": user.pk, "at": timezone.now().timestamp(), "next": self.get_success_url(),
        }  # fmt: skip
        return HttpResponseRedirect(reverse("log_in_code"))


@login_not_required
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def code(request: HttpRequest) -> HttpResponse:
    """The second step: a code of the app, or one of the recovery codes."""
    asked, now = request.session.get(ASKED), timezone.now()
    user = User.objects.filter(pk=asked["user"], is_active=True).first() if asked else None
    if asked is None or user is None or not 0 <= now.timestamp() - asked["at"] <= ANSWER_WITHIN.total_seconds():
        request.session.pop(ASKED, None)
        return HttpResponseRedirect(reverse("log_in"))
    form = CodeForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        actor = Actor(user=user, origin=origin_of(request))
        found = factor_check(actor=actor, now=now, user=user, code=form.cleaned_data["code"])
        if found is Checked.RIGHT:
            del request.session[ASKED]
            return _enter(request, user, asked["next"], proved=True)
        event_record(actor=actor, verb="second_factor.refused", subject=user, now=now)
        form.add_error("code", NO_CODE[found])
    return render(request, "clinic/log_in_code.html", {"form": form}, status=422 if form.errors else 200)


def _enter(request: HttpRequest, user: User, wanted: str, *, proved: bool = False) -> HttpResponse:
    """Log in, and lead back to where a session ran out, with the form being sent; somebody else begins at Today."""
    before = last_user(request)
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[-1])
    if proved:
        request.session[PROVED] = True
    request.session.set_expiry(None)
    actor = Actor(user=user, origin=origin_of(request))
    used = ["password", "second_factor"] if proved else ["password"]
    event_record(actor=actor, verb="staff.logged_in", subject=user, now=timezone.now(), fields=used)
    if not proved and code_need_of(request, user) is CodeNeed.SOON:
        begins = f"{clinic_of(request).codes_from:%A %-d %B}"
        told = f"From {begins} on, log-in asks everybody for a code as well. Set it up before: behind your name, above."
        messages.info(request, told)
    response = HttpResponseRedirect(wanted)
    if kept_form(request.session, user.pk):
        response = HttpResponseRedirect(reverse("kept_form"))
    elif before is not None and before != user.pk:
        response = HttpResponseRedirect(reverse("today"))
    remember_user(response, user.pk)
    remember_device(request, response)
    network = network_of(actor.origin)
    if network:
        GATE.logged_in(network, timezone.now().timestamp())
    return response


class LogOut(LogoutView):
    """By POST only. The browser is told to forget pages and storage, so that Back shows nobody's data."""

    before_account = True

    def post(self, request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        if request.user.is_authenticated:
            event_record(actor=actor_of(request), verb="staff.logged_out", subject=user_of(request), now=timezone.now())
        response = super().post(request, *args, **kwargs)
        response.headers["Clear-Site-Data"] = '"cache", "storage"'
        forget_user(response)
        return response
