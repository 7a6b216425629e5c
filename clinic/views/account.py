"""One's own log-in: password, second factor, recovery codes."""

from django.contrib import messages
from django.contrib.auth import authenticate, update_session_auth_hash
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from clinic.forms.fields import sentence
from clinic.forms.staff import CodeForm, OwnPasswordForm, PasswordForm, ProvedCodeForm
from clinic.rules.code_need import CodeNeed
from clinic.rules.passwords import ALONE
from clinic.services.codes import code_image
from clinic.services.log_ins import log_ins_end, log_ins_of
from clinic.services.second_factor import (
    FactorRefused,
    codes_left,
    factor_begin,
    factor_confirm,
    factor_of,
    factor_remove,
    recovery_codes_make,
)
from clinic.services.staff import StaffRefused, password_change
from clinic.views.access import actor_of, before_account, code_need_of, user_of
from clinic.views.session import PROVED, is_fresh, kept_form, log_out_with_form

NOT_IT = "That is not your password. It tells capital letters from small ones."


@require_safe
def account(request: HttpRequest) -> HttpResponse:
    """What is set up, and where to change it."""
    user = user_of(request)
    device = factor_of(user)
    elsewhere = len(log_ins_of(user, now=timezone.now(), own=request.session.session_key)) - 1
    context = {
        "device": device,
        "codes_left": codes_left(user) if device else 0,
        "needed": _needed(request),
        "elsewhere": max(0, elsewhere),
    }
    return render(request, "clinic/account.html", context)


def _needed(request: HttpRequest) -> bool:
    return code_need_of(request, user_of(request)) is CodeNeed.NOW


@before_account
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """A new password. This session goes on, every other one of the same person ends."""
    user = user_of(request)
    form = PasswordForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        if not _is_password(request, form.cleaned_data["old_password"]):
            form.add_error("old_password", "That is not your password until now.")
        elif form.cleaned_data["old_password"] == form.cleaned_data["new_password"]:
            form.add_error("new_password", "That is the password you have: choose another one.")
        else:
            try:
                password_change(
                    actor=actor_of(request), now=timezone.now(), user=user, password=form.cleaned_data["new_password"]
                )
            except StaffRefused as refused:
                form.add_error("new_password", sentence(str(refused)))
            else:
                update_session_auth_hash(request, user)
                messages.success(request, "Your password is changed. Your log-ins on other devices have ended.")
                return HttpResponseRedirect(reverse("account"))
    context = {"form": form, "first": user.must_change_password}
    return render(request, "clinic/account_password.html", context, status=422 if form.errors else 200)


@before_account
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def factor(request: HttpRequest) -> HttpResponse:
    """Set up an app that makes codes. The recovery codes are shown once, in the answer to the post that proves it."""
    user = user_of(request)
    if factor_of(user) is not None:
        if request.session.get(PROVED):
            return HttpResponseRedirect(reverse("account"))
        # Set up elsewhere after this log-in: the code is asked for at log-in, so log in again.
        log_out_with_form(request)
        return HttpResponseRedirect(reverse("log_in"))
    asked = CodeForm if is_fresh(request.session, timezone.now()) else ProvedCodeForm
    form = asked(request.POST if request.method == "POST" else None)
    if form.is_valid() and asked is ProvedCodeForm and not _is_password(request, form.cleaned_data["password"]):
        form.add_error("password", NOT_IT)
    if form.is_valid():
        try:
            codes = factor_confirm(
                actor=actor_of(request), now=timezone.now(), user=user, code=form.cleaned_data["code"]
            )
        except FactorRefused as refused:
            form.add_error("code", sentence(str(refused)))
        else:
            request.session[PROVED] = True
            request.session.cycle_key()
            kept = kept_form(request.session, user.pk) is not None
            return render(request, "clinic/factor_codes.html", {"codes": codes, "new": True, "kept": kept})
    # The picture to scan stands above the field and must not be scrolled past.
    form.fields["code"].widget.attrs.pop("autofocus", None)
    device = factor_begin(user=user)
    context = {
        "form": form,
        "picture": code_image(device.config_url),
        "key": _groups(device.config_url.partition("secret=")[2].partition("&")[0]),
        "needed": _needed(request),
    }
    return render(request, "clinic/factor_set_up.html", context, status=422 if form.errors else 200)


def _groups(key: str) -> str:
    return " ".join(key[at : at + 4] for at in range(0, len(key), 4))


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def codes(request: HttpRequest) -> HttpResponse:
    """New recovery codes for whoever writes the password again, shown once; those before are worth nothing."""
    user = user_of(request)
    if factor_of(user) is None:
        return HttpResponseRedirect(reverse("account"))
    form = OwnPasswordForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        if _is_password(request, form.cleaned_data["password"]):
            made = recovery_codes_make(actor=actor_of(request), now=timezone.now(), user=user)
            return render(request, "clinic/factor_codes.html", {"codes": made, "new": False})
        form.add_error("password", NOT_IT)
    return render(request, "clinic/account_codes.html", {"form": form}, status=422 if form.errors else 200)


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def log_ins(request: HttpRequest) -> HttpResponse:
    """Where one is logged in; whoever writes the password ends those that are ticked, all others at first."""
    user, now = user_of(request), timezone.now()
    found = log_ins_of(user, now=now, own=request.session.session_key)
    others = {one.name for one in found if not one.own}
    ticked = others.intersection(request.POST.getlist("which")) if request.method == "POST" else others
    form = OwnPasswordForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        if not ticked:
            form.add_error(None, "Tick the log-ins that are to end.")
        elif not _is_password(request, form.cleaned_data["password"]):
            form.add_error("password", NOT_IT)
        else:
            count = log_ins_end(actor=actor_of(request), now=now, user=user, ends=ticked.__contains__)
            messages.success(request, f"{count} log-in{'' if count == 1 else 's'} ended.")
            return HttpResponseRedirect(reverse("account"))
    context = {"form": form, "log_ins": found, "others": others, "ticked": ticked}
    return render(request, "clinic/account_log_ins.html", context, status=422 if form.errors else 200)


def _is_password(request: HttpRequest, typed: str) -> bool:
    """Whether typed is the password of whoever is logged in. Throttled as the log-in is."""
    return authenticate(request, username=user_of(request).get_username(), password=typed) is not None


@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def factor_off(request: HttpRequest) -> HttpResponse:
    """Log in without codes again: not for whoever needs one, and not with a password too short to stand alone."""
    user = user_of(request)
    if factor_of(user) is None or _needed(request):
        return HttpResponseRedirect(reverse("account"))
    form = OwnPasswordForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        typed = form.cleaned_data["password"]
        if not _is_password(request, typed):
            form.add_error("password", NOT_IT)
        elif len(typed) < ALONE:
            form.add_error(
                "password",
                f"Without a second factor a password needs {ALONE} characters: change yours first.",
            )
        else:
            factor_remove(actor=actor_of(request), now=timezone.now(), user=user)
            request.session.pop(PROVED, None)
            messages.success(request, "Log-in asks you for no code any more.")
            return HttpResponseRedirect(reverse("account"))
    return render(request, "clinic/factor_remove.html", {"form": form}, status=422 if form.errors else 200)
