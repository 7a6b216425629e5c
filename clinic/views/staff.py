"""Who works here, for managers."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic.forms.fields import sentence
from clinic.forms.staff import StaffAddForm, StaffForm
from clinic.models import User
from clinic.selectors.staff import staff_listed, visits_ahead
from clinic.services.log_ins import log_ins_end
from clinic.services.second_factor import factor_of
from clinic.services.staff import (
    StaffRefused,
    staff_change,
    staff_factor_remove,
    staff_first_password,
    staff_invite,
)
from clinic.views.access import actor_of, for_roles, user_of


@for_roles("manager")
@require_safe
def staff(request: HttpRequest) -> HttpResponse:
    """Everybody, those who left last."""
    return render(request, "clinic/staff_list.html", {"staff": staff_listed()})


@for_roles("manager")
@require_http_methods(["GET", "HEAD", "POST"])
def add(request: HttpRequest) -> HttpResponse:
    """Somebody new. The first password stands in the answer, once."""
    form = StaffAddForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            made, password = staff_invite(actor=actor_of(request), now=timezone.now(), **form.cleaned_data)
        except StaffRefused as refused:
            form.add_error("username" if "log-in name" in str(refused) else "roles", sentence(str(refused)))
        else:
            return _password_told(request, made, password)
    return render(request, "clinic/staff_add.html", {"form": form}, status=422 if form.errors else 200)


def _password_told(request: HttpRequest, person: User, password: str) -> HttpResponse:
    return render(request, "clinic/staff_password.html", {"person": person, "password": password})


@for_roles("manager")
@require_http_methods(["GET", "HEAD", "POST"])
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """One member of staff."""
    found = get_object_or_404(User, pk=pk)
    begin: dict[str, Any] = {"full_name": found.full_name, "roles": sorted(found.roles), "is_active": found.is_active}
    form = StaffForm(request.POST if request.method == "POST" else None, initial=begin)
    if form.is_valid():
        try:
            changed = staff_change(actor=actor_of(request), now=timezone.now(), user=found, **form.cleaned_data)
        except StaffRefused as refused:
            form.add_error("roles", sentence(str(refused)))
        else:
            messages.success(request, "Saved." if changed.is_active else "Saved. This person is logged out now.")
            return HttpResponseRedirect(reverse("staff_person", args=[pk]))
    context = {
        "person": found,
        "form": form,
        "has_factor": factor_of(found) is not None,
        "visits_ahead": visits_ahead(found, timezone.now()),
        "own": found.pk == user_of(request).pk,
    }
    return render(request, "clinic/staff_person.html", context, status=422 if form.errors else 200)


@for_roles("manager")
@require_POST
def password(request: HttpRequest, pk: int) -> HttpResponse:
    """A new first password for somebody who forgot theirs; nobody gives one to themselves here."""
    found = get_object_or_404(User, pk=pk)
    if found.pk == user_of(request).pk:
        return HttpResponseRedirect(reverse("account_password"))
    return _password_told(request, found, staff_first_password(actor=actor_of(request), now=timezone.now(), user=found))


@for_roles("manager")
@require_POST
def log_out(request: HttpRequest, pk: int) -> HttpResponse:
    """End every log-in of one person, such as on a tablet that was stolen."""
    found = get_object_or_404(User, pk=pk)
    if found.pk == user_of(request).pk:
        return HttpResponseRedirect(reverse("account_log_ins"))
    count = log_ins_end(actor=actor_of(request), now=timezone.now(), user=found, ends=lambda name: True)
    messages.success(request, f"{count} log-in{'' if count == 1 else 's'} ended." if count else "Logged in nowhere.")
    return HttpResponseRedirect(reverse("staff_person", args=[pk]))


@for_roles("manager")
@require_POST
def factor_lost(request: HttpRequest, pk: int) -> HttpResponse:
    """Take away a second factor whose telephone is lost, together with the password."""
    found = get_object_or_404(User, pk=pk)
    if found.pk == user_of(request).pk:
        return HttpResponseRedirect(reverse("account"))
    told = staff_factor_remove(actor=actor_of(request), now=timezone.now(), user=found)
    if told is None:
        messages.info(request, "Nothing was changed: there is no second factor to take away.")
        return HttpResponseRedirect(reverse("staff_person", args=[pk]))
    return _password_told(request, found, told)
