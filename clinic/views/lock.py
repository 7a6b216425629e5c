"""The lock: nobody's data on a tablet that was put down, and back to the same step for whoever put it down."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth import authenticate, login, logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic.rules.session_ends import SessionState
from clinic.views.access import before_account, user_of
from clinic.views.errors import shown_fields
from clinic.views.posting import back_or
from clinic.views.session import fields_of, forget_user, keep_form, kept_form, lock, session_begin, state_of

View = Callable[..., HttpResponse]


class UnlockForm(forms.Form):
    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password", "autofocus": True}),
        error_messages={"required": "Write your password."},
    )


def _while_locked(view: View) -> View:
    view.works_while_locked = True  # type: ignore[attr-defined]
    return view


@_while_locked
@require_POST
def lock_now(request: HttpRequest) -> HttpResponse:
    """Lock this session; a form that was being filled in comes along and is kept."""
    lock(request.session)
    back = back_or(request, reverse("today"))
    typed = request.POST.get("kept", "")
    if typed:
        fields = fields_of(QueryDict(typed).lists())
        address = request.POST.get("kept_address", "")
        if fields and keep_form(request.session, address=address, fields=fields, user=user_of(request).pk):
            back = reverse("kept_form")
    return HttpResponseRedirect(f"{reverse('locked')}?{_next(back)}")


def _next(back: str) -> str:
    query = QueryDict(mutable=True)
    query["next"] = back
    return query.urlencode(safe="/")


@_while_locked
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def locked(request: HttpRequest) -> HttpResponse:
    """Ask for the password of whoever locked it. Nothing of the page before stands here."""
    user, now = user_of(request), timezone.now()
    back = back_or(request, reverse("today"))
    if state_of(request.session, now) is not SessionState.LOCKED:
        return HttpResponseRedirect(back)
    form = UnlockForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        password = form.cleaned_data["password"]
        if authenticate(request, username=user.get_username(), password=password) is not None:
            login(request, user, backend=settings.AUTHENTICATION_BACKENDS[-1])
            request.session.cycle_key()
            session_begin(request.session, now)
            return HttpResponseRedirect(back)
        form.add_error("password", "That is not your password. It tells capital letters from small ones.")
    context = {"form": form, "next": back, "locked": True}
    return render(request, "clinic/locked.html", context, status=422 if form.errors else 200)


@_while_locked
@require_POST
def change_user(request: HttpRequest) -> HttpResponse:
    """Somebody else takes the tablet: the session before ends, with what it kept."""
    logout(request)
    response = HttpResponseRedirect(reverse("log_in"))
    forget_user(response)
    return response


@before_account
@require_POST
def awake(request: HttpRequest) -> HttpResponse:
    """A touch of the page. The middleware noted it, or led to the lock."""
    return HttpResponse(status=204)


@require_safe
def kept(request: HttpRequest) -> HttpResponse:
    """A form that met the lock or the end of the session: everything typed, to be sent with one press."""
    found = kept_form(request.session, user_of(request).pk)
    if found is None:
        return HttpResponseRedirect(reverse("today"))
    context: dict[str, Any] = {
        "kept": found["fields"],
        "shown": shown_fields(found["fields"]),
        "address": found["address"],
        "met_lock": True,
    }
    return render(request, "clinic/form_expired.html", context)


@login_not_required
@require_safe
def icon(request: HttpRequest) -> HttpResponse:
    """Browsers ask for this name where a page names no icon."""
    return HttpResponseRedirect(static("svg/mark.svg"))
