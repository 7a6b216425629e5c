"""Two people saved the same details: both versions side by side."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from clinic.forms.patients import ContactForm, initial_of
from clinic.models import Event, Helper, Patient


def both_versions(
    form: ContactForm, stored: Patient | Helper, events: Iterable[Event]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Template context of the valid form that came too late, and what the next form begins with.

    The next form holds what others changed (events), and what was typed everywhere else.
    """
    changes = list(events)
    theirs = {name for event in changes for name in event.fields}
    mine = form.values()
    merged = {**initial_of(stored, type(form)), **{name: mine[name] for name in mine if name not in theirs}}
    differing = [
        {"label": form.fields[name].label, "stored": _shown(stored, name), "typed": _typed(form, name)}
        for name in mine
        if getattr(stored, name) != mine[name] and form.fields[name].label
    ]
    saved = [(event, [form.fields[name].label for name in event.fields if name in form.fields]) for event in changes]
    return {"differing": differing, "saved": saved}, merged


def conflict_page(
    request: HttpRequest, context: dict[str, Any], *, whose: Patient | Helper, fields: str
) -> HttpResponse:
    """Both versions, and the form with what others changed; fields: the template of its fields."""
    told = {**context, "whose": whose, "fields": fields}
    return render(request, "clinic/details_conflict.html", told, status=409)


def _shown(stored: Patient | Helper, name: str) -> Any:
    value = getattr(stored, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else value


def _typed(form: ContactForm, name: str) -> str:
    value = form.data.get(name, "")
    return "yes" if value == "on" else str(value)
